// Keeps the page of rooms fresh by fetching it anew and putting in what has changed. Without it the page fetches itself.
"use strict";
(() => {
  const EVERY = 15000;
  const LATE = 40000;
  const cut = document.getElementById("cut");
  let heardAt = Date.now();
  let clock = document.getElementById("rooms").dataset.clock;

  function setCut(on) {
    document.body.classList.toggle("disconnected", on);
    cut.hidden = !on;
    cut.textContent = on ? `Disconnected since ${clock}. What you see is from then.` : "";
  }

  function show(fresh) {
    const focused = document.activeElement?.id;
    for (const old of document.querySelectorAll("[data-live]")) {
      const wanted = fresh.getElementById(old.id);
      if (!wanted) return location.reload();
      if (old.innerHTML === wanted.innerHTML) continue;
      old.className = wanted.className;
      old.replaceChildren(...wanted.childNodes);
    }
    clock = fresh.getElementById("rooms").dataset.clock;
    if (focused && document.activeElement?.id !== focused) document.getElementById(focused)?.focus();
  }

  async function look() {
    try {
      const answer = await fetch("/rooms", { cache: "no-store" });
      if (!answer.ok) throw new Error(String(answer.status));
      show(new DOMParser().parseFromString(await answer.text(), "text/html"));
      heardAt = Date.now();
      setCut(false);
    } catch {
      if (Date.now() - heardAt > LATE) setCut(true);
    }
  }

  setInterval(() => { if (!document.hidden) look(); }, EVERY);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) look(); });
  addEventListener("online", look);
  addEventListener("offline", () => setCut(true));
})();
