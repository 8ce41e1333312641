// Opens the form for what was seen without signal, once it was opened with. It keeps forms for a day, and nothing else of anybody.
"use strict";

const KEPT = "seen-forms";
const FORM = /^\/desk\/bookings\/\d+\/seen$/;
const FILE = /^\/(static\/|look-)/;
const A_DAY_MS = 24 * 3600 * 1000;
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
    const since = Date.parse((await kept.match(request))?.headers.get("date"));
    if (FORM.test(new URL(request.url).pathname) && !(Date.now() - since < A_DAY_MS)) await kept.delete(request);
  }
  // The form comes last, so that one that is kept opens whole.
  const [form, ...files] = addresses;
  await Promise.all(files.map(async (file) => await kept.match(file, LOOSELY) || put(kept, file)));
  await put(kept, form);
}

async function put(kept, address) {
  const answer = await fetch(address);
  // Led elsewhere, it is the page to sign in.
  if (answer.ok && !answer.redirected) await kept.put(address, answer);
}

async function formFor(request) {
  const form = await caches.match(new URL(request.url).pathname, LOOSELY);
  const fresh = fetch(request);
  if (!form) return fresh;
  const late = new Promise((resolve) => { setTimeout(resolve, PATIENCE_MS, form); });
  return Promise.race([fresh.catch(() => form), late]);
}
