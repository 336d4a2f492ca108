// The token that shows the server that a request comes from our own page; it changes with each login.
// Over the farm's own HTTPS it goes by the first of these names; the second may be left over from plain HTTP.
const NAMES = ["__Host-csrftoken=", "csrftoken="];

export const csrfToken = () => {
  const cookies = document.cookie.split("; ");
  for (const name of location.protocol === "https:" ? NAMES : NAMES.slice(1)) {
    const cookie = cookies.find((part) => part.startsWith(name));
    if (cookie) return decodeURIComponent(cookie.slice(name.length));
  }
  return JSON.parse(document.body.getAttribute("hx-headers") ?? "{}")["X-CSRFToken"] ?? "";
};
