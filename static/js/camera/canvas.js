// Draws a video, photo or canvas no larger than wanted and gives its dots.
const canvas = document.createElement("canvas");

export const dots = (source, { width, height, longest }) => {
  const scale = Math.min(1, longest / Math.max(width, height));
  canvas.width = Math.round(width * scale);
  canvas.height = Math.round(height * scale);
  const pen = canvas.getContext("2d", { willReadFrequently: true });
  pen.imageSmoothingQuality = "high";
  pen.drawImage(source, 0, 0, canvas.width, canvas.height);
  return pen.getImageData(0, 0, canvas.width, canvas.height);
};
