// Makes UUIDs (version 4) and remembers the one of this browser. crypto.randomUUID is missing on plain http.
export const newUuid = () => {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
};

// Storage may be shut (private windows, settings); the check works without it, but cannot be taken up again.
export const remembered = (key) => {
  try {
    return JSON.parse(localStorage.getItem(key));
  } catch {
    return null;
  }
};

export const remember = (key, value) => {
  try {
    if (value === null) localStorage.removeItem(key);
    else localStorage.setItem(key, JSON.stringify(value));
  } catch {
    // Nothing to be done, and nothing lost.
  }
};

export const deviceUuid = () => {
  const known = remembered("takebook.device");
  if (known) return known;
  const uuid = newUuid();
  remember("takebook.device", uuid);
  return uuid;
};
