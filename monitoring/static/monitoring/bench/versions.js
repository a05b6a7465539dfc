// The worker keeps this page for times without a network. A newer page waits until a
// person takes it, and never comes by itself while a reading is open.
import { h } from "./elements.js";
import { many } from "./words.js";

const LOOK_MS = 30 * 60_000;

export async function followVersions({ told, store, router }) {
  const place = document.querySelector("[data-version]");
  if (!navigator.serviceWorker) {
    place.hidden = false;
    place.replaceChildren(h("p", {}, "This browser cannot keep the page itself for times without a network. Leave it open, or use another browser."));
    return;
  }
  const workers = navigator.serviceWorker;
  const registration = await workers.register(told.urls.worker, { scope: told.urls.shell, updateViaCache: "none" })
    .catch((error) => { console.warn("worker", error); return null; });
  if (!registration) return;
  let asked = false;

  async function show() {
    const newer = registration.waiting && workers.controller;
    const held = await ask(workers.controller, "held");
    if (!newer && !held) { place.hidden = true; return; }
    const open = (await store.readings()).filter((row) => row.state === "open").length;
    place.hidden = false;
    if (router.counts) {
      place.replaceChildren(h("p", {}, "A new version of this page waits. It does not come while you count."));
      return;
    }
    const kept = open ? ` ${many(open, "reading")} ${open === 1 ? "is" : "are"} open: finish first, or go on in the new version; every press is kept.` : "";
    place.replaceChildren(
      h("p", {}, `A new version of this page waits.${kept} `, h("button", { type: "button", class: "plain", onclick: take }, "Use it now")),
    );
  }

  async function take() {
    asked = true;
    const waiting = registration.waiting ?? workers.controller;
    // One that waits changes hands afterwards, which is heard below.
    await ask(waiting, "take over");
    if (waiting === workers.controller) location.reload();
  }

  workers.addEventListener("controllerchange", () => { if (asked) location.reload(); });
  registration.addEventListener("updatefound", () => {
    registration.installing.addEventListener("statechange", show);
  });
  document.addEventListener("bench:view", show);
  const look = () => registration.update().catch(() => {});
  addEventListener("online", look);
  setInterval(look, LOOK_MS);
  await show();
}

// Ask the worker one thing; null when there is none or it does not answer.
function ask(worker, question) {
  if (!worker) return null;
  return new Promise((resolve) => {
    const channel = new MessageChannel();
    channel.port1.onmessage = ({ data }) => resolve(data);
    setTimeout(resolve, 3000, null);
    worker.postMessage(question, [channel.port2]);
  });
}
