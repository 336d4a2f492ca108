// A POST form is sent once, however often a wet finger taps: data-sent on the form, aria-busy on the button.
// Freed by htmx's answer, by the back button, and after a few seconds, since an answer may be a download.
const HOLD_MS = 5000;

const free = (form) => {
  delete form.dataset.sent;
  for (const busy of form.querySelectorAll("[aria-busy]")) busy.removeAttribute("aria-busy");
};

document.addEventListener(
  "submit",
  (event) => {
    const form = event.target;
    // Not form.method: a field named "method" would stand in its way.
  if (form.getAttribute("method")?.toLowerCase() !== "post") return;
    if ("sent" in form.dataset) {
      event.preventDefault();
      event.stopImmediatePropagation();
      return;
    }
    form.dataset.sent = "";
    event.submitter?.setAttribute("aria-busy", "true");
    setTimeout(() => free(form), HOLD_MS);
  },
  true,
);

document.addEventListener("htmx:afterRequest", (event) => {
  const form = event.target.closest?.("form");
  if (form) free(form);
});

window.addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach(free));
