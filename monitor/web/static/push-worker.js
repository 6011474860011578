// Shows what is pushed while the page is closed, and acts by the letter's own link.
"use strict";

self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

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
