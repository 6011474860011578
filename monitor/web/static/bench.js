// Keeps the bench live: fresh parts by server-sent events, ages by the page's own clock, and the truth when cut off.
"use strict";
(() => {
  const bench = document.getElementById("bench");
  const cut = document.getElementById("cut");
  const csrf = document.querySelector("meta[name=csrf]").content;
  const SILENT = 15000; // ms without a word from the daemon; it speaks at least every five seconds
  const AGE_SHOWN_FROM = 120;
  const FADES = [["age-2", 3600000], ["age-1", 600000]]; // ms from which a number looks older
  const KEEP_EVERY = 60000; // ms between two copies for when the bench can't be reached
  const kept = bench.dataset.kept === "yes"; // this is such a copy
  const clockFace = new Intl.DateTimeFormat("en-GB", { timeZone: bench.dataset.zone, hour: "2-digit", minute: "2-digit" });
  const dayFace = new Intl.DateTimeFormat("en-GB", { timeZone: bench.dataset.zone, weekday: "long", day: "numeric", month: "long" });

  let speed = Number(bench.dataset.speed);
  let heardNow = Number(bench.dataset.now); // the daemon's clock when it last spoke
  let heardAt = Date.now(); // ours at that moment; goes on while the page sleeps
  let disconnected = kept;
  let shown = bench.dataset.shown; // the view this page shows, so that it is not sent again
  let source = null;
  let retry = 0;
  let keptAt = -Infinity;
  let held = null; // what had the focus when its button was switched off
  // A copy can't know when it was made but by the daemon's clock, which goes by the same time as ours unless it is simulated.
  if (kept && speed === 1) heardAt = Math.min(heardNow, heardAt);

  const now = () => heardNow + (Date.now() - heardAt) * speed;

  function duration(ms) {
    const seconds = Math.max(0, Math.floor(ms / 1000));
    if (seconds < 60) return `${seconds} s`;
    const minutes = Math.floor(seconds / 60);
    if (minutes < 60) return `${minutes} min`;
    const hours = Math.floor(minutes / 60);
    const rest = minutes % 60;
    if (hours >= 48) return `${Math.floor(hours / 24)} days`;
    return rest && hours < 10 ? `${hours} h ${String(rest).padStart(2, "0")} min` : `${hours} h`;
  }

  // Change `old` into `fresh` in place, so that an opened question, the focus and a reader's place stay where they are.
  function morph(old, fresh) {
    if (old.nodeType !== fresh.nodeType || old.nodeName !== fresh.nodeName || old.dataset?.key !== fresh.dataset?.key) {
      old.replaceWith(fresh);
      return;
    }
    if (old.nodeType !== Node.ELEMENT_NODE) {
      if (old.nodeValue !== fresh.nodeValue) old.nodeValue = fresh.nodeValue;
      return;
    }
    for (const { name } of [...old.attributes]) {
      if (!fresh.hasAttribute(name) && name !== "open") old.removeAttribute(name);
    }
    for (const { name, value } of [...fresh.attributes]) {
      if (old.getAttribute(name) !== value) old.setAttribute(name, value);
    }
    morphChildren(old, fresh);
  }

  function morphChildren(old, fresh) {
    const keyed = new Map();
    for (const child of old.children) if (child.dataset.key) keyed.set(child.dataset.key, child);
    let place = old.firstChild;
    for (const wanted of [...fresh.childNodes]) {
      const key = wanted.dataset?.key;
      const same = key && keyed.get(key);
      if (key && !same) {
        old.insertBefore(wanted, place); // new: what was there goes on below it
        continue;
      }
      if (same && same !== place) old.insertBefore(same, place);
      const target = same || place;
      if (!target) {
        old.appendChild(wanted);
        continue;
      }
      place = target.nextSibling;
      morph(target, wanted);
    }
    while (place) {
      const next = place.nextSibling;
      place.remove();
      place = next;
    }
  }

  function show(parts) {
    const focused = document.activeElement;
    for (const [key, html] of Object.entries(parts)) {
      const part = document.getElementById(key);
      if (!part) return location.reload();
      const fresh = new DOMParser().parseFromString(html, "text/html").body;
      for (const field of fresh.querySelectorAll("input[name=csrf]")) field.setAttribute("value", csrf);
      morphChildren(part, fresh);
    }
    if (focused !== document.activeElement && focused.isConnected) focused.focus({ preventScroll: true }); // it was moved
    const count = Number(document.querySelector(".headline")?.dataset.count || 0);
    document.title = (count ? `(${count}) ` : "") + bench.dataset.site;
  }

  function setCut(on) {
    if (disconnected === on) return;
    disconnected = on;
    document.body.classList.toggle("disconnected", on);
    cut.hidden = !on;
    cut.textContent = on ? `Disconnected since ${clockFace.format(heardNow)}. What you see is from then.` : "";
    hold(on);
  }

  // Nothing can be noted while nobody listens, and nothing may look as if it was.
  function hold(on) {
    if (on && document.activeElement?.matches("main button")) held = document.activeElement;
    for (const button of document.querySelectorAll(on ? "main button" : "button[disabled]")) button.disabled = on;
    if (on) return;
    if (held?.isConnected && document.activeElement === document.body) held.focus({ preventScroll: true });
    held = null;
  }

  // Registered here, as the bench is what a home screen opens. Where the browser does not allow it, all else works.
  const worker = navigator.serviceWorker?.register(bench.dataset.worker).then(() => navigator.serviceWorker.ready).catch(() => null);
  async function keepCopy() {
    if (performance.now() - keptAt < KEEP_EVERY) return;
    keptAt = performance.now();
    (await worker)?.active?.postMessage("keep");
  }

  function tick() {
    if (Date.now() - heardAt > SILENT) setCut(true);
    const instant = now();
    document.getElementById("clock").textContent = clockFace.format(instant);
    document.getElementById("day").textContent = dayFace.format(instant);
    for (const number of document.querySelectorAll(".number[data-time]")) {
      const age = instant - Number(number.dataset.time);
      const told = disconnected || number.classList.contains("stale") || age >= AGE_SHOWN_FROM * 1000;
      const text = told ? `${duration(age)} old` : "";
      const place = number.querySelector("[data-age]");
      if (place.textContent !== text) place.textContent = text;
      const fade = FADES.find(([, from]) => age >= from)?.[0];
      for (const [name] of FADES) number.classList.toggle(name, name === fade);
    }
  }

  function heard(event) {
    const word = JSON.parse(event.data);
    if (kept) return location.replace("/");
    if (word.build !== bench.dataset.build) return location.reload();
    shown = event.lastEventId;
    heardNow = word.now;
    heardAt = Date.now();
    speed = word.speed;
    retry = 0;
    show(word.parts);
    setCut(false);
    tick();
    keepCopy();
  }

  function connect() {
    source?.close();
    source = new EventSource(`/events?shown=${encodeURIComponent(shown)}`);
    source.addEventListener("bench", heard);
    source.addEventListener("error", () => {
      setCut(true);
      tick();
      if (source.readyState === EventSource.CLOSED) setTimeout(connect, Math.min(30000, 2000 * ++retry));
    });
  }

  // A second tap while the first is on its way must not say it twice.
  document.addEventListener("submit", (event) => {
    if (disconnected && event.target.closest("main")) return event.preventDefault();
    for (const button of event.target.querySelectorAll("button")) setTimeout(() => { button.disabled = true; }, 0);
  });
  // One question open at a time.
  document.addEventListener("toggle", (event) => {
    if (!event.target.open || !event.target.matches?.(".ask")) return;
    for (const other of document.querySelectorAll(".ask[open]")) if (other !== event.target) other.open = false;
  }, true);
  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) return;
    tick();
    if (disconnected) connect();
  });
  addEventListener("online", connect);
  setInterval(tick, 1000);
  connect();
})();
