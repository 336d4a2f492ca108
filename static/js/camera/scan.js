// One scan in #scan-dialog, from the live picture or from a photo, until a label of the farm is read or it is closed.
import { readCode, spoken } from "../codes.js";
import { cameraUntil, watch } from "./live.js";
import { textsInPhoto } from "./photo.js";
import { videoReader } from "./reader.js";
import { tell } from "./signal.js";
import { hasLight, hasLiveCamera, light } from "./stream.js";

const LONGEST_TEXT = 80;
// A label counts as read once until it was out of the picture for so long.
const AWAY_MS = 4000;
const FAULTS = {
  NotAllowedError: "refused",
  SecurityError: "refused",
  NotFoundError: "absent",
  OverconstrainedError: "absent",
};

let last = { code: "", at: -AWAY_MS };
let scanning = null;

const part = (name) => scanning.dialog.querySelector(name);

// Said again it would be read aloud again, so only what is new is said.
const say = (word, text = "") => {
  const line = part(".scan-said");
  const said = line.dataset[word].replace("#", () => text);
  if (line.textContent !== said) line.textContent = said;
};

const isAgain = (code) => {
  const now = performance.now();
  const again = code === last.code && now - last.at < AWAY_MS;
  last = { code, at: now };
  return again;
};

const hit = (code, text) => {
  const { dialog, onHit } = scanning;
  last = { code, at: performance.now() };
  tell();
  dialog.close();
  onHit({ code, text });
};

// True if there was anything to say about the texts in a picture.
const judge = (texts, { isLive }) => {
  const text = texts.find(readCode) ?? texts[0];
  if (text === undefined) return;
  const code = readCode(text);
  if (!code) say("foreign", text.length > LONGEST_TEXT ? `${text.slice(0, LONGEST_TEXT)}…` : text);
  else if (isLive && isAgain(code)) say("again", spoken(code));
  else hit(code, text);
};

const offerPhoto = (word) => {
  say(word);
  part(".scan-picture").hidden = true;
  part("[data-photo]").hidden = false;
};

const show = async (stream) => {
  const video = part("video");
  video.srcObject = stream;
  part("[data-torch]").hidden = !hasLight(stream);
  await video.play().catch(() => {}); // refused where it is closed meanwhile
  return video;
};

const live = async ({ dialog, signal }) => {
  const loading = videoReader(dialog.dataset.wasm);
  loading.catch(() => {}); // said below, after the camera
  let stream;
  try {
    stream = await cameraUntil(signal);
  } catch (error) {
    if (!signal.aborted) offerPhoto(FAULTS[error.name] ?? "busy");
    return;
  }
  if (signal.aborted) return;
  const video = await show(stream);
  const read = await loading;
  if (signal.aborted) return;
  say("aim");
  await watch(video, { read, signal, onTexts: (texts) => judge(texts, { isLive: true }) });
};

const begin = (dialog, onHit) => {
  const ending = new AbortController();
  const end = () => {
    ending.abort();
    dialog.querySelector("video").srcObject = null;
  };
  scanning = { dialog, onHit, end, signal: ending.signal };
  dialog.addEventListener("close", end, { once: true });
  if (!dialog.open) end();
  return scanning;
};

const failed = (own) => {
  if (own.signal.aborted) return;
  own.end();
  say("unloaded");
  part(".scan-picture").hidden = true;
};

const readPhoto = async (file) => {
  const own = scanning;
  say("reading");
  let read;
  try {
    const { zxing } = await import("./zxing.js");
    read = await zxing(own.dialog.dataset.wasm);
  } catch {
    if (!own.signal.aborted) say("unloaded");
    return;
  }
  const texts = await textsInPhoto(file, read).catch(() => null);
  if (own.signal.aborted) return;
  if (texts?.length) judge(texts, { isLive: false });
  else say(texts ? "nothing" : "unreadable");
};

const takePhoto = (input) => {
  if (!input.files.length) return;
  readPhoto(input.files[0]);
  input.value = ""; // the same photo may be tried again
};

// Called by the button, which has opened the dialog; onHit gets {code, text}.
export const scan = (dialog, onHit) => {
  const own = begin(dialog, onHit);
  if (own.signal.aborted) return;
  part("[data-photo]").hidden = true;
  part("[data-torch]").hidden = true;
  part("[data-torch]").setAttribute("aria-pressed", "false");
  part(".scan-picture").hidden = !hasLiveCamera();
  if (!hasLiveCamera()) {
    offerPhoto("insecure");
    takePhoto(part("[type=file]")); // chosen while this file was on its way
    return;
  }
  say("opening");
  live(own).catch(() => failed(own));
};

document.addEventListener("change", (event) => {
  if (event.target.matches("#scan-dialog [type=file]")) takePhoto(event.target);
});

document.addEventListener("click", (event) => {
  if (event.target.closest("#scan-dialog [data-photo]")) part("[type=file]").click();
  const torch = event.target.closest("#scan-dialog [data-torch]");
  if (!torch) return;
  const isOn = torch.getAttribute("aria-pressed") !== "true";
  light(part("video").srcObject, isOn).then(
    () => torch.setAttribute("aria-pressed", String(isOn)),
    () => {},
  );
});

// The tablet's own camera program hides the page as well, so only a live picture ends here.
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "hidden" && scanning && part("video").srcObject) scanning.dialog.close();
});
