// The rear camera as a stream: opened, lit, and always stopped.
const WANTED = {
  audio: false,
  video: { facingMode: { ideal: "environment" }, width: { ideal: 1280 }, height: { ideal: 960 } },
};

// False on plain HTTP, where browsers hide the camera from pages.
export const hasLiveCamera = () => Boolean(navigator.mediaDevices?.getUserMedia);

export const stop = (stream) => stream.getTracks().forEach((track) => track.stop());

export const openCamera = () => navigator.mediaDevices.getUserMedia(WANTED);

const trackOf = (stream) => stream.getVideoTracks()[0];

export const hasLight = (stream) => Boolean(trackOf(stream).getCapabilities?.().torch);

export const light = (stream, isOn) => trackOf(stream).applyConstraints({ advanced: [{ torch: isOn }] });
