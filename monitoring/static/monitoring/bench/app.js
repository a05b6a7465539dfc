// The bench: opens what this device keeps, shows a view, sends when there is a network.
import { h } from "./elements.js";
import { lookAtRoom, missing, notOpened } from "./health.js";
import { refreshKit } from "./kit.js";
import { sendPhotos } from "./photos.js";
import { Router } from "./router.js";
import { Status } from "./status.js";
import { openStore } from "./store.js";
import { Sender } from "./sync.js";
import { dress, offerInstall, watchPalette } from "./surroundings.js";
import { followVersions } from "./versions.js";

const told = JSON.parse(document.getElementById("bench").textContent);
const root = document.getElementById("content");

function refuse(words) {
  root.replaceChildren(h("h1", {}, "No count can be started here"), h("p", { class: "note error", role: "alert" }, words));
  document.querySelector("[data-words]").textContent = "Problem: this browser cannot keep counts.";
}

async function open() {
  const store = await openStore(told.slug);
  const health = await lookAtRoom(store);
  store.refusal = health.refusal;
  const status = new Status({
    store,
    bar: document.getElementById("status"),
    notes: document.getElementById("notes"),
  });
  if (health.refusal) status.problem(health.refusal);
  const after = [() => sendPhotos({ store, status, urls: told.urls })];
  const sender = new Sender({ store, status, urls: told.urls, after });
  const router = new Router({ store, status, root, health });
  await dress(store);
  watchPalette(store);
  offerInstall(status);
  followVersions({ told, store, router });
  if (!store.kit()) await refreshKit({ store, status, urls: told.urls });
  if (!store.kit()) {
    const words = "The bench has not been filled yet: it needs a network and a signed-in person once. ";
    root.replaceChildren(h("h1", {}, "Bench"), h("p", { class: "note" }, words, h("a", { href: told.urls.login }, "Sign in"), " or reload the page when there is a network."));
    store.addEventListener("kit", () => router.start(), { once: true });
  } else {
    await router.start();
  }
  sender.start();
  // For whoever looks into the page with the browser's own tools, and for tests.
  window.bench = { store, sender, router, status };
  document.documentElement.dataset.ready = "yes";
  await status.refresh();
}

const refusal = missing();
if (refusal) refuse(refusal);
else open().catch((error) => { console.error(error); refuse(notOpened(error)); });
