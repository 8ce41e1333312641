// Opens the form for what was seen without signal, once it was opened with. It keeps forms for as long as a session may last, and nothing else of anybody.
"use strict";

const KEPT = "seen-forms";
const FORM = /^\/desk\/bookings\/\d+\/seen$/;
const FILE = /^\/(static\/|look-)/;
const MOST_MS = 12 * 3600 * 1000; // No session lasts longer.
const PATIENCE_MS = 4000; // Where signal is so weak that nothing comes, the form that was kept comes after so long.
const LOOSELY = { ignoreVary: true, ignoreSearch: true };

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("message", (event) => {
  const { keep, forget } = event.data ?? {};
  if (keep) event.waitUntil(keepAll(keep));
  if (forget) event.waitUntil(caches.open(KEPT).then((kept) => kept.delete(forget, LOOSELY)));
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (request.mode === "navigate" && FORM.test(address.pathname)) {
    event.respondWith(formFor(request));
  } else if (FILE.test(address.pathname)) {
    event.respondWith(caches.match(request, LOOSELY).then((file) => file ?? fetch(request)));
  }
});

async function keepAll(addresses) {
  const kept = await caches.open(KEPT);
  for (const request of await kept.keys()) {
    if (FORM.test(new URL(request.url).pathname) && isTooOld(await kept.match(request))) await kept.delete(request);
  }
  // The form comes last, so that one that is kept opens whole.
  const [form, ...files] = addresses;
  await Promise.all(files.map(async (file) => await kept.match(file, LOOSELY) || put(kept, file)));
  await put(kept, form);
}

function isTooOld(form) {
  return !(Date.now() - Date.parse(form?.headers.get("date")) < MOST_MS);
}

async function put(kept, address) {
  const answer = await fetch(address);
  // Led elsewhere, it is the page to sign in.
  if (answer.ok && !answer.redirected) await kept.put(address, answer);
}

async function formFor(request) {
  const { pathname } = new URL(request.url);
  let form = await caches.match(pathname, LOOSELY);
  if (form && isTooOld(form)) {
    await (await caches.open(KEPT)).delete(pathname, LOOSELY);
    form = undefined;
  }
  const fresh = fetch(request);
  if (!form) return fresh;
  const late = new Promise((resolve) => { setTimeout(resolve, PATIENCE_MS, form); });
  return Promise.race([fresh.catch(() => form), late]);
}
