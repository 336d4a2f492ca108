// Reads codes by the rules of nursery/calc/codes.py, which explains them, so that a scan is understood without network.
const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const CHECK_ALPHABET = `${ALPHABET}*~$=U`;
const KINDS = "FSP";
const BODY_LENGTH = 6;
const LOOK_ALIKES = { O: "0", I: "1", L: "1" };
// White space as Python counts it, and every dash.
const SEPARATORS =
  /[\t-\r\x1c-\x20\x85\xa0\u1680\u2000-\u200a\u2028\u2029\u202f\u205f\u3000\-\u00ad\u2010-\u2015\u2212]+/g;
const SCHEME_AND_HOST = /^\s*[A-Za-z][A-Za-z0-9+.-]*:\/\/[^/?#]*/;

const plain = (text) =>
  text.replace(SEPARATORS, "").toUpperCase().replace(/[OIL]/g, (sign) => LOOK_ALIKES[sign]);

// The check character of a number written in base 32: its remainder by 37, taken character by character.
export const checkCharacter = (body) =>
  CHECK_ALPHABET[[...body].reduce((rest, sign) => (rest * 32 + ALPHABET.indexOf(sign)) % 37, 0)];

const isCode = (text) =>
  text.length === BODY_LENGTH + 1 &&
  [...text].every((sign) => ALPHABET.includes(sign)) &&
  KINDS.includes(text[0]) &&
  checkCharacter(text.slice(0, BODY_LENGTH)) === text[BODY_LENGTH];

// The code in what was typed or scanned, an address included, as F3K7QNX; "" if there is none.
export const readCode = (text) => {
  const parts = text.includes("/") ? text.replace(SCHEME_AND_HOST, "").split(/[?#]/)[0].split("/") : [text];
  return parts.map(plain).find(isCode) ?? "";
};

// As it is shown and read aloud: F3K-7QNX.
export const spoken = (code) => `${code.slice(0, 3)}-${code.slice(3)}`;
