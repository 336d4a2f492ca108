// The small line beside the main action: whether what was marked is on the server, and what stands in the way.
import { fill } from "./paint.js";

export const useSavedLine = ({ queue, words }) => {
  const line = document.getElementById("check-saved");
  const [text, login] = line.children;

  const said = () => {
    if (queue.trouble === "forbidden" || queue.trouble === "malformed") return words[queue.trouble];
    const { length } = queue.marks;
    if (length) return length === 1 ? words.unsentOne : fill(words.unsentMany, { n: length });
    if (queue.closing) return queue.trouble ? words.waits : words.closing;
    return words.saved;
  };

  const show = () => {
    const needsLogin = queue.trouble === "login";
    login.hidden = !needsLogin;
    text.hidden = needsLogin;
    line.toggleAttribute("data-trouble", queue.trouble !== "");
    const now = said();
    if (text.textContent !== now) text.textContent = now;
  };

  queue.addEventListener("change", show);
  show();
};
