// Tells the hand and the ear that a label was read: a short vibration and a quiet beep, as loud as the tablet's volume.
const BEEP_HZ = 1320;
const BEEP_S = 0.09;
const LOUDNESS = 0.08;
const VIBRATION_MS = 30;

let sound = null;

// Browsers let a page sound only from a touch on: call it there.
export const wake = () => {
  if (!("AudioContext" in window)) return;
  sound ??= new AudioContext();
  sound.resume().catch(() => {});
};

const beep = () => {
  if (sound?.state !== "running") return;
  const tone = new OscillatorNode(sound, { frequency: BEEP_HZ });
  const volume = new GainNode(sound, { gain: LOUDNESS });
  tone.connect(volume).connect(sound.destination);
  tone.start();
  tone.stop(sound.currentTime + BEEP_S);
};

export const tell = () => {
  navigator.vibrate?.(VIBRATION_MS);
  beep();
};
