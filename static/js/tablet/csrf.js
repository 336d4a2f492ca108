// The token that shows the server that a request comes from our own page; it changes with each login.
export const csrfToken = () => {
  const cookie = document.cookie.split("; ").find((part) => part.startsWith("csrftoken="));
  if (cookie) return decodeURIComponent(cookie.slice("csrftoken=".length));
  return JSON.parse(document.body.getAttribute("hx-headers") ?? "{}")["X-CSRFToken"] ?? "";
};
