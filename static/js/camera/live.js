// The live picture in a <video>, looked at about ten times a second until it is aborted or leaves the page.
import { openCamera, stop } from "./stream.js";

const PACE_MS = 100;

const sleep = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

// The camera, which is let go when the signal says so: also when it opens only after that.
export const cameraUntil = async (signal) => {
  const stream = await openCamera();
  if (signal.aborted) stop(stream);
  signal.addEventListener("abort", () => stop(stream), { once: true });
  return stream;
};

const hasPicture = (video) => video.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA && video.videoWidth > 0;

// At most half of the time is spent reading: the tablet stays able to answer a touch.
export const watch = async (video, { read, signal, onTexts }) => {
  while (!signal.aborted && video.isConnected) {
    const began = performance.now();
    const texts = hasPicture(video) ? await read(video) : [];
    if (signal.aborted) return;
    onTexts(texts);
    const took = performance.now() - began;
    await sleep(Math.max(PACE_MS - took, took));
  }
};
