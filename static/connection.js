// Says when a request did not get through, and takes it back with the next that does. Without script the browser says so itself.
"use strict";

const note = document.getElementById("no-connection");

for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
  document.body.addEventListener(name, () => { note.hidden = false; });
}
document.body.addEventListener("htmx:beforeSwap", (event) => {
  if (!event.detail.isError) note.hidden = true;
});

// What an instructor has not sent yet would be lost with the session: the page of their account says so first.
function isSomethingUnsent() {
  try {
    return localStorage.getItem("slackwater-seen") !== null;
  } catch {
    return false;
  }
}

document.body.addEventListener("submit", (event) => {
  if (event.target.getAttribute("action") !== "/sign-out" || location.pathname === "/account" || !isSomethingUnsent()) return;
  event.preventDefault();
  location.assign("/account#phone-says");
});
