// Reads the labels in a photo: scaled down first, which is quick and forgives blur, then larger and as it was taken.
import { dots } from "./canvas.js";
import { fromTheMiddle } from "./middle.js";

const LONGEST_SIDES = [1280, 2048, 720, 4096];

// The texts found at the first size at which there are any, from the middle outwards.
export const textsInPhoto = async (file, read) => {
  const photo = await createImageBitmap(file);
  const { width, height } = photo;
  const sizes = new Set(LONGEST_SIDES.map((side) => Math.min(side, Math.max(width, height))));
  for (const longest of sizes) {
    const picture = dots(photo, { width, height, longest });
    const found = await read(picture);
    if (found.length) return fromTheMiddle(found, picture);
  }
  return [];
};
