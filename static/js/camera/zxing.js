// Reads QR symbols with the vendored zxing-wasm, which is loaded when the first picture is to be read.
import { getZXingModule, readBarcodes } from "../../vendor/zxing-wasm-3.1.4/reader/index.js";

// share.js of the library holds the address of a CDN as its default place of the wasm file. The one below takes its
// place before anything is read, and nothing else in the library names a host.
let loading = null;

const load = (address) => {
  loading ??= getZXingModule({ locateFile: () => address }).catch((fault) => {
    loading = null; // the next scan asks the server again
    throw fault;
  });
  return loading;
};

const OPTIONS = { formats: ["QRCode"], tryHarder: true, tryInvert: false, maxNumberOfSymbols: 8 };

const middle = ({ topLeft, topRight, bottomRight, bottomLeft }) => ({
  x: (topLeft.x + topRight.x + bottomRight.x + bottomLeft.x) / 4,
  y: (topLeft.y + topRight.y + bottomRight.y + bottomLeft.y) / 4,
});

// Gives a function: ImageData in, [{text, x, y}] out.
export const zxing = async (address) => {
  await load(address);
  return async (picture) =>
    (await readBarcodes(picture, OPTIONS)).map(({ text, position }) => ({ text, ...middle(position) }));
};
