// Subscribes this browser to pushes, or says plainly what is missing for that.
"use strict";
(() => {
  const state = document.getElementById("state");
  const form = document.getElementById("subscribe");
  const leave = document.getElementById("leave");
  const csrf = document.querySelector("meta[name=csrf]").content;
  const HEADERS = { "Content-Type": "application/json", "X-CSRF-Token": csrf };

  const say = (text, grave = false) => {
    state.textContent = text;
    state.className = grave ? "flash refused" : "notice";
  };

  function missing() {
    if (!window.isSecureContext) {
      const better = form.dataset.address && !location.href.startsWith(form.dataset.address) ? ` Try ${form.dataset.address}` : "";
      return `This page was not reached at an address that the browser trusts, so it allows no pushes. It needs https with a trusted certificate.${better}`;
    }
    if (!("serviceWorker" in navigator) || !("PushManager" in window) || !("Notification" in window)) {
      return "This browser takes no pushes from here. On some phones the page must first be put on the home screen and opened from there.";
    }
    if (Notification.permission === "denied") return "Notifications are forbidden for this page. Allow them in the browser's settings for this site, then come back.";
    if (!navigator.onLine) return "This phone has no internet, and pushes need it.";
    return "";
  }

  const bytes = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (letter) => letter.charCodeAt(0));
  const same = (key, buffer) => buffer && bytes(key).toString() === new Uint8Array(buffer).toString();

  async function idOf(endpoint) {
    const hash = new Uint8Array(await crypto.subtle.digest("SHA-256", new TextEncoder().encode(endpoint)));
    return [...hash.slice(0, 8)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  }

  // The answer of our own API, or an Error whose message is for the keeper.
  async function ask(method, path, body) {
    let answer;
    try {
      answer = await fetch(`/api/v1/push/${path}`, { method, headers: HEADERS, body: body && JSON.stringify(body) });
    } catch {
      throw new Error("The bench does not answer.");
    }
    if (answer.status === 204) return {};
    const told = await answer.json();
    if (!answer.ok) throw new Error(told.detail);
    return told;
  }

  async function worker() {
    try {
      await navigator.serviceWorker.register(form.dataset.worker);
    } catch (error) {
      throw new Error(
        error.name === "SecurityError"
          ? "The browser does not trust this page's certificate, so it allows no pushes. Clicking the warning away does not do; the phone must know the authority that signed it."
          : `The browser could not set up pushes: ${error.message}`,
      );
    }
    return navigator.serviceWorker.ready;
  }

  async function look() {
    const lacks = missing();
    if (lacks) return say(lacks, true);
    const registration = await worker();
    const subscription = await registration.pushManager.getSubscription();
    const id = subscription && (await idOf(subscription.endpoint));
    const known = id && document.querySelector(`[data-phone="${id}"]`);
    const here = Boolean(known && !known.querySelector(".gone"));
    form.hidden = here;
    leave.hidden = !here;
    leave.dataset.phone = here ? id : "";
    say(here ? "Alarms come to this phone." : "Alarms do not come to this phone yet.");
  }

  async function subscribe(name) {
    if ((await Notification.requestPermission()) !== "granted") throw new Error("Notifications were not allowed, so no alarm can be shown here.");
    const { key } = await ask("GET", "key");
    const { pushManager } = await worker();
    let subscription = await pushManager.getSubscription();
    if (subscription && !same(key, subscription.options.applicationServerKey)) {
      await subscription.unsubscribe(); // made for another key, which is lost
      subscription = null;
    }
    try {
      subscription ??= await pushManager.subscribe({ userVisibleOnly: true, applicationServerKey: bytes(key) });
    } catch (error) {
      throw new Error(
        error.name === "NotAllowedError"
          ? "The browser does not allow pushes for this page (in a private window it never does)."
          : "The browser's push service was not reached. It needs the internet; some browsers without their maker's services have none.",
      );
    }
    await ask("POST", "subscriptions", { name, ...subscription.toJSON() });
  }

  // One at a time; what goes wrong is told where the keeper looks.
  async function doing(button, what) {
    button.disabled = true;
    try {
      await what();
      location.reload();
    } catch (error) {
      say(error.message, true);
      state.scrollIntoView({ block: "nearest" });
      button.disabled = false;
    }
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    doing(form.querySelector("button"), () => subscribe(form.elements.name.value.trim()));
  });
  leave.querySelector("button").addEventListener("click", (event) => {
    doing(event.target, async () => {
      await ask("DELETE", `subscriptions/${leave.dataset.phone}`);
      const registration = await navigator.serviceWorker.ready;
      await (await registration.pushManager.getSubscription())?.unsubscribe();
    });
  });
  look().catch((error) => say(error.message, true));
})();
