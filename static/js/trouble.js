// Says in #messages when htmx got no answer or a refusal (data-lost, data-denied, data-failed hold the words).
const say = (text) => {
  const region = document.getElementById("messages");
  if (!region || !text) return;
  const notice = document.createElement("div");
  const words = document.createElement("p");
  notice.className = "notice";
  notice.dataset.kind = "error";
  words.textContent = text;
  notice.append(words);
  region.replaceChildren(notice);
  region.scrollIntoView({ block: "nearest" });
};

document.addEventListener("htmx:sendError", () => {
  say(document.getElementById("messages")?.dataset.lost);
});

document.addEventListener("htmx:responseError", (event) => {
  const { status } = event.detail.xhr;
  const words = document.getElementById("messages")?.dataset;
  say(status === 401 || status === 403 ? words?.denied : words?.failed);
});
