// Of several labels in a picture the one nearest to its middle is meant: that is where the frame is.
export const fromTheMiddle = (found, { width, height }) => {
  const off = ({ x, y }) => Math.hypot(x - width / 2, y - height / 2);
  return [...found].sort((one, other) => off(one) - off(other)).map((one) => one.text);
};
