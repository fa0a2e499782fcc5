// Small conveniences; every page works without them.
"use strict";

// A form that was sent is not sent twice by a second click.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "post") return;
  setTimeout(() => form.querySelectorAll("button").forEach((one) => { one.disabled = true; }), 0);
});
window.addEventListener("pageshow", () => {
  document.querySelectorAll("form button[disabled]").forEach((one) => { one.disabled = false; });
});
