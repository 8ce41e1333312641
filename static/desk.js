// The desk's keys, and what is there to be copied. Without script the buttons are pressed and the address is marked by hand.
"use strict";

const copied = document.querySelector("[data-select]");
if (copied) {
  copied.focus();
  copied.select();
}
document.addEventListener("keydown", (event) => {
  if (!event.altKey || event.ctrlKey || event.metaKey) return;
  const button = document.querySelector(`[data-key="${event.code}"]`);
  if (!button) return;
  event.preventDefault();
  button.click();
});
