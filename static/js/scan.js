// Sends each code of a form[data-scans="id of what is swapped in"] by itself, in order: the field is free for the
// next scan at once, and what could not be sent waits in the page (data-waiting, data-lost hold the words).
const waiting = [];
let isSending = false;

const show = (form, lost) => {
  const line = form.querySelector(".scan-waiting");
  line.hidden = waiting.length === 0 || !lost;
  if (!line.hidden) line.textContent = `${form.dataset.lost} ${form.dataset.waiting} ${waiting.join(", ")}`;
};

const send = async (form, code) => {
  const body = new FormData(form);
  body.set("code", code);
  const answer = await fetch(form.action, { method: "POST", body, headers: { "HX-Request": "true" } });
  const elsewhere = answer.headers.get("HX-Redirect");
  if (elsewhere || answer.redirected) {
    location.assign(elsewhere ?? answer.url);
    throw new Error("elsewhere");
  }
  if (!answer.ok && answer.status !== 422) throw new Error(String(answer.status));
  const told = document.createRange().createContextualFragment(await answer.text());
  document.getElementById(form.dataset.scans).replaceWith(told);
};

const sendAll = async (form) => {
  if (isSending) return;
  isSending = true;
  let lost = false;
  while (waiting.length && !lost) {
    try {
      await send(form, waiting[0]);
      waiting.shift();
    } catch {
      lost = true;
    }
  }
  isSending = false;
  show(form, lost);
};

// On window, so that it comes before the rule that a form is sent once.
window.addEventListener(
  "submit",
  (event) => {
    const form = event.target.closest("[data-scans]");
    if (!form) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    const field = form.elements.code;
    if (field.value.trim()) waiting.push(field.value.trim());
    field.value = "";
    field.focus();
    sendAll(form);
  },
  true,
);

window.addEventListener("online", () => document.querySelectorAll("[data-scans]").forEach(sendAll));

window.addEventListener("beforeunload", (event) => {
  if (waiting.length) event.preventDefault();
});
