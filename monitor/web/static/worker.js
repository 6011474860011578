// Two things that a phone does without an open page: it opens bench and food as they were last seen when nobody answers, and
// shows what is pushed. KNOWN, the files of this build, is a line that the daemon puts before this one.
"use strict";

const CACHE = `swimup-${self.KNOWN.build}`;
// Pages for later: each says from when it is, and nothing on it can be pressed.
const KEPT = { "/": "/kept", "/food": "/kept/food" };
const OFFLINE = "/offline";
const PATIENCE = 6000; // ms for an answer, where there is something to show instead
let forgotten = 0;

self.addEventListener("install", (event) => {
  event.waitUntil(
    (async () => {
      await (await caches.open(CACHE)).addAll([...self.KNOWN.shell, OFFLINE]);
      await self.skipWaiting();
    })(),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      const before = (await caches.keys()).filter((name) => name.startsWith("swimup-") && name !== CACHE);
      if (before.length) await keep(); // what is kept goes with its style
      await Promise.all(before.map((name) => caches.delete(name)));
      await self.clients.claim();
    })(),
  );
});

// Whoever logs out, or is not let in any more, leaves nothing to be seen.
async function forget() {
  forgotten += 1;
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const page of Object.values(KEPT)) await cache.delete(page, { ignoreVary: true });
  }
}

async function keep() {
  for (const page of Object.values(KEPT)) await keepOne(page);
}

async function keepOne(page) {
  const before = forgotten;
  try {
    const answer = await fetch(page, { credentials: "same-origin" });
    if (answer.redirected) return await forget();
    if (!answer.ok) return undefined;
    const cache = await caches.open(CACHE);
    if (before === forgotten) await cache.put(page, answer);
    if (before !== forgotten) await cache.delete(page, { ignoreVary: true }); // logged out while it was written
  } catch {
    // what was kept before stays
  }
  return undefined;
}

async function found(address) {
  return (await caches.open(CACHE)).match(address, { ignoreVary: true });
}

// The network first, always. What stands in for it says so itself.
async function answerTo(request, path) {
  const asked = fetch(request);
  asked.catch(() => {}); // it is awaited below
  const kept = KEPT[path] ? await found(KEPT[path]) : undefined;
  try {
    if (!kept) return await asked;
    const late = new Promise((done) => { setTimeout(done, PATIENCE, kept); });
    const answer = await Promise.race([asked, late]);
    if (answer.type === "opaqueredirect") await forget(); // to the log-in
    return answer;
  } catch {
    return kept || (await found(OFFLINE)) || Response.error();
  }
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const { origin, pathname } = new URL(request.url);
  if (origin !== self.location.origin) return;
  if (pathname === "/login" || pathname === "/logout") event.waitUntil(forget());
  if (request.method !== "GET") return; // what is noted goes to the bench itself, or nowhere
  if (self.KNOWN.shell.includes(pathname)) {
    event.respondWith(found(pathname).then((file) => file || fetch(request)));
  } else if (request.mode === "navigate" && !/^\/(act|api|metrics)(\/|$)/.test(pathname)) {
    event.respondWith(answerTo(request, pathname));
  }
});

self.addEventListener("message", (event) => {
  if (event.data === "keep") event.waitUntil(keep());
});

// Only ever an address of this very page.
function pathOf(link) {
  try {
    const { pathname } = new URL(link, self.location.origin);
    return pathname.startsWith("/act/") ? pathname : "";
  } catch {
    return "";
  }
}

function letterIn(event) {
  try {
    return event.data.json();
  } catch {
    return { title: "An alarm that cannot be read", body: "Open the bench and look." };
  }
}

self.addEventListener("push", (event) => {
  const letter = letterIn(event);
  const path = pathOf(letter.link || "");
  const urgent = letter.priority === "high";
  event.waitUntil(
    self.registration.showNotification(letter.title || "Alarm", {
      body: letter.body || "",
      tag: letter.tag || "swimup",
      renotify: true,
      requireInteraction: urgent,
      silent: letter.priority === "low",
      data: { path },
      actions: path ? [{ action: "acknowledge", title: "Acknowledge" }] : [],
    }),
  );
});

async function acknowledge(path, title, tag) {
  try {
    const answer = await fetch(path, { method: "POST", credentials: "omit", body: new URLSearchParams({ do: "acknowledge" }) });
    if (answer.ok) return;
  } catch {
    // told below, like a refusal
  }
  await self.registration.showNotification(`Not acknowledged: ${title}`, {
    body: "Tap to see how it stands.",
    tag,
    renotify: true,
    requireInteraction: true,
    data: { path },
  });
}

self.addEventListener("notificationclick", (event) => {
  const { action, notification } = event;
  const { path } = notification.data || {};
  notification.close();
  if (action === "acknowledge" && path) {
    event.waitUntil(acknowledge(path, notification.title, notification.tag));
  } else {
    event.waitUntil(self.clients.openWindow(path || "/"));
  }
});
