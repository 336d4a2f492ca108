// Makes a reader of the running video: the browser's own detector where it reads QR symbols, else zxing-wasm.
import { dots } from "./canvas.js";
import { fromTheMiddle } from "./middle.js";

const LONGEST_SIDE = 1280;

const sizeOf = ({ videoWidth: width, videoHeight: height }) => ({ width, height });

const own = async () => {
  if (!("BarcodeDetector" in window)) return null;
  const formats = await BarcodeDetector.getSupportedFormats().catch(() => []);
  return formats.includes("qr_code") ? new BarcodeDetector({ formats: ["qr_code"] }) : null;
};

const found = ({ rawValue: text, boundingBox: box }) => ({
  text,
  x: box.x + box.width / 2,
  y: box.y + box.height / 2,
});

const byDetector = (detector) => async (video) =>
  fromTheMiddle((await detector.detect(video)).map(found), sizeOf(video));

const byZxing = async (address) => {
  const { zxing } = await import("./zxing.js");
  const read = await zxing(address);
  return async (video) => {
    const picture = dots(video, { ...sizeOf(video), longest: LONGEST_SIDE });
    return fromTheMiddle(await read(picture), picture);
  };
};

// Gives a function: video in, the texts in its present picture out, from its middle outwards.
export const videoReader = async (address) => {
  const detector = await own();
  if (!detector) return byZxing(address);
  let read = byDetector(detector);
  return async (video) => {
    try {
      return await read(video);
    } catch {
      // Some tablets name a detector whose service is missing: that shows at the first picture.
      read = await byZxing(address);
      return read(video);
    }
  };
};
