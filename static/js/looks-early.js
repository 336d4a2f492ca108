// Puts on the looks that were chosen on this device before anything is drawn: a plain script in the head, since a
// module runs late. Buttons and their memory are in looks.js.
try {
  for (const [look, name, value] of [["sun", "contrast", "high"], ["gloves", "gloves", ""]]) {
    if (localStorage.getItem(`takebook.look.${look}`)) document.documentElement.dataset[name] = value;
  }
} catch {
  // Without a memory it looks as usual.
}
