// At the plain port: asks the address over HTTPS whether this browser trusts it (#trust-state), goes on to it from
// the start page, and says what waits in this browser under the old address (#tablet-export).
import { whatWaits } from "../tablet/waiting.js";

const state = document.getElementById("trust-state");

const show = (name) => {
  for (const notice of state.querySelectorAll("[data-state]")) notice.hidden = notice.dataset.state !== name;
};

// Any answer will do: without trust there is none.
const isTrusted = async () => {
  try {
    await fetch(`${state.dataset.address}/manifest.webmanifest`, { mode: "no-cors", credentials: "omit", cache: "no-store" });
    return true;
  } catch {
    return false;
  }
};

const countWaiting = async () => {
  const { marks } = await whatWaits().catch(() => ({ marks: 0 }));
  document.getElementById("waiting-count").textContent = marks;
  document.getElementById("tablet-export").hidden = marks === 0;
  return marks;
};

const look = async () => {
  const [trusted, waiting] = await Promise.all([isTrusted(), countWaiting()]);
  show(trusted ? "trusted" : "untrusted");
  if (trusted && !waiting && location.pathname === "/") location.replace(`${state.dataset.address}/`);
};

look();
// Back from the settings of the tablet.
document.addEventListener("visibilitychange", () => document.hidden || look());
