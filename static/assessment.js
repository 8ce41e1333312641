// Keeps what an instructor types on the phone, and sends it when there is signal. Without script the form posts as any other.
"use strict";

const QUEUE = "slackwater-seen";
const TYPED = "slackwater-typed:";
const AGAIN_MS = 20000;
const TIMEOUT_MS = 15000;
const says = document.getElementById("phone-says");
const form = document.getElementById("seen-form");
const me = says.dataset.by;
const here = location.pathname;
const typedHere = TYPED + me + here;
let isSending = false;
let isSignedOut = false;

function read(name) {
  try {
    return JSON.parse(localStorage.getItem(name));
  } catch {
    return null;
  }
}

function kept() {
  return read(QUEUE) ?? [];
}

function keep(entries) {
  if (entries.length) localStorage.setItem(QUEUE, JSON.stringify(entries));
  else localStorage.removeItem(QUEUE);
}

function waiting() {
  return kept().filter((entry) => entry.by === me && !entry.refused);
}

function typed() {
  const values = Object.fromEntries(new FormData(form));
  delete values.key;
  delete values.at;
  return values;
}

function fill(values) {
  for (const [name, value] of Object.entries(values)) {
    const field = form.elements.namedItem(name);
    if (field) field.value = value;
  }
}

function newKey() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

function show() {
  const mine = waiting();
  const refused = kept().filter((entry) => entry.by === me && entry.refused);
  const others = new Set(kept().filter((entry) => entry.by !== me).map((entry) => entry.by));
  const lines = [];
  if (mine.length) {
    const many = mine.length > 1 ? `${mine.length} are kept` : "Kept";
    const then = mine.length > 1 ? "they are sent" : "it is sent";
    lines.push(isSignedOut
      ? [`${many} on this phone. You are signed out: `, link("sign in", mine[0].address), `, and ${then}.`]
      : [`${many} on this phone, sent when there is signal.`]);
  }
  for (const entry of refused) {
    lines.push(["Kept on this phone, but not taken: ", `${entry.refused} `, ...(entry.address === here ? [] : [link("Open it", entry.address)])]);
  }
  for (const name of others) lines.push([`Something of ${name}’s is kept on this phone: it is sent once ${name} signs in here.`]);
  if (lines.length && "loses" in says.dataset) lines.push(["Signing out would lose it."]);
  says.replaceChildren(...lines.flatMap((line, place) => (place ? [document.createElement("br"), ...line] : line)));
  says.hidden = !lines.length;
}

function link(words, address) {
  const made = document.createElement("a");
  made.href = address;
  made.textContent = words;
  return made;
}

function drop(key) {
  keep(kept().filter((entry) => entry.key !== key));
}

// Whether the next one may be tried too.
async function send(entry) {
  let answer;
  let words = "";
  try {
    const headers = { "Content-Type": "application/x-www-form-urlencoded" };
    answer = await fetch(entry.address, { method: "POST", headers, body: entry.body, signal: AbortSignal.timeout(TIMEOUT_MS) });
    words = await answer.text();
  } catch {
    return false; // No signal. Whether it arrived or not, its key lets it be kept only once.
  }
  isSignedOut = answer.status === 403;
  if (answer.ok) {
    drop(entry.key);
    localStorage.removeItem(TYPED + entry.by + entry.address);
    (await worker())?.postMessage({ forget: entry.address });
    if (form && entry.address === here) location.assign(here);
    return true;
  }
  if ([404, 409, 422].includes(answer.status)) {
    const faults = new DOMParser().parseFromString(words, "text/html").querySelectorAll(".faults li");
    const refused = Array.from(faults, (fault) => fault.textContent).join(" ") || "Look at it again.";
    keep(kept().map((one) => (one.key === entry.key ? { ...one, refused } : one)));
    return true;
  }
  return false;
}

async function sendAll() {
  if (isSending) return;
  isSending = true;
  for (const entry of waiting()) {
    if (!await send(entry)) break;
  }
  isSending = false;
  show();
}

async function worker() {
  if (!("serviceWorker" in navigator)) return null;
  return (await navigator.serviceWorker.getRegistration("/desk/bookings/"))?.active ?? null;
}

async function keepForm() {
  if (!("serviceWorker" in navigator)) return;
  await navigator.serviceWorker.register("/desk/offline.js", { scope: "/desk/bookings/" });
  const { active } = await navigator.serviceWorker.ready;
  const files = document.querySelectorAll("link[rel=stylesheet], link[rel=icon], script[src]");
  active.postMessage({ keep: [here, ...Array.from(files, (file) => file.href || file.src)] });
}

if (form) {
  const pending = kept().find((entry) => entry.address === here && entry.by === me);
  const before = pending ? pending.typed : read(typedHere);
  if (before && !("answered" in form.dataset)) fill(before);
  form.addEventListener("input", () => {
    try {
      localStorage.setItem(typedHere, JSON.stringify(typed()));
    } catch {
      // Where nothing can be kept the form still posts.
    }
  });
  form.addEventListener("submit", (event) => {
    const values = typed();
    const same = kept().find((entry) => entry.address === here && entry.by === me && !entry.refused);
    const key = same && JSON.stringify(same.typed) === JSON.stringify(values) ? same.key : newKey();
    const body = new URLSearchParams({ ...values, key, at: new Date().toISOString() }).toString();
    const entry = { address: here, by: me, key, typed: values, body: key === same?.key ? same.body : body };
    try {
      keep([...kept().filter((one) => one.address !== here || one.by !== me), entry]);
    } catch {
      return; // Nothing can be kept here, so the browser posts it itself.
    }
    event.preventDefault();
    show();
    sendAll();
  });
  if ("keep" in form.dataset) keepForm().catch(() => {}); // A browser that refuses a worker has the form while it is open.
}
addEventListener("online", sendAll);
document.addEventListener("visibilitychange", () => { if (!document.hidden) sendAll(); });
setInterval(() => { if (waiting().length) sendAll(); }, AGAIN_MS);
show();
sendAll();
