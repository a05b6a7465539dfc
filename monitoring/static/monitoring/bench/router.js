// One view at a time in the page's root, by the address after "#/".
import { awaitBag, holdBag } from "./locks.js";

// Loaded when first opened; the browser's kept copy makes that quick without a network.
const VIEWS = {
  pick: () => import("./views/pick.js"),
  tally: () => import("./views/tally.js"),
  finish: () => import("./views/finish.js"),
  keys: () => import("./views/keys.js"),
  collect: () => import("./views/collect.js"),
  wash: () => import("./views/wash.js"),
  unsent: () => import("./views/unsent.js"),
  device: () => import("./views/device.js"),
};
// Views that count: one tab a bag.
const COUNTING = new Set(["tally", "finish"]);
// Where a person comes back to after the page died.
const KEPT = new Set(["tally", "finish", "collect", "wash"]);

export class Router {
  #close = () => {};
  #held = null;
  #waiting = null;
  #turn = 0;
  #last = Promise.resolve();

  constructor({ store, status, root, health }) {
    Object.assign(this, { store, status, root, health });
    this.go = (path) => { location.hash = `#/${path}`; };
    addEventListener("hashchange", () => this.show());
  }

  get path() { return location.hash.replace(/^#\/?/, "") || "pick"; }
  get name() { return this.path.split("/")[0]; }
  get counts() { return COUNTING.has(this.name); }

  // Go back to where the person was, unless the address names a place.
  async start() {
    const last = await this.store.setting("route");
    if (!location.hash && last) {
      const [name, param] = last.split("/");
      const row = COUNTING.has(name) ? await this.store.reading(param) : null;
      if (!COUNTING.has(name) || row?.state === "open") history.replaceState(null, "", `#/${last}`);
    }
    await this.show();
  }

  // Open the address's view, after the one before it has closed.
  show() {
    const turn = ++this.#turn;
    // One that did not open, as where the disk is full, must not keep the next from opening.
    this.#last = this.#last.then(() => (turn === this.#turn ? this.#open(turn) : undefined)).catch((error) => this.#fail(error));
    return this.#last;
  }

  #fail(error) {
    console.error(error);
    this.status.problem(`This part of the page did not open (${error.message}). Nothing that was counted is lost. Reload the page.`);
  }

  async #open(turn) {
    await this.#leave().catch((error) => console.warn("a view did not close", error));
    const path = this.store.device.name ? this.path : "device";
    const [name, ...rest] = path.split("/");
    const param = decodeURIComponent(rest.join("/")) || null;
    if (COUNTING.has(name)) await this.#hold(param);
    // Where the person was is not worth a view that does not open.
    await this.store.keepSetting("route", KEPT.has(name) ? path : "").catch((error) => console.warn("the place was not kept", error));
    this.root.replaceChildren();
    try {
      const { view } = await (VIEWS[name] ?? VIEWS.pick)();
      if (turn !== this.#turn) return;
      const { store, status, go, root, health } = this;
      this.#close = (await view({ store, kit: store.kit(), status, go, root, param, health, readOnly: !store.writable })) ?? (() => {});
    } catch (error) {
      this.#fail(error);
    }
    for (const link of document.querySelectorAll("[data-view]")) {
      if (link.dataset.view === name) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    document.dispatchEvent(new CustomEvent("bench:view", { detail: name }));
  }

  async #leave() {
    const close = this.#close;
    this.#close = () => {};
    this.#waiting?.abort();
    this.status.readOnly("");
    try {
      await close();
    } finally {
      this.#held?.();
      this.#held = null;
      this.store.writable = true;
    }
  }

  // Hold the reading's bag; a second tab shows it only, and takes over when it is free.
  async #hold(reading) {
    const bag = (await this.store.reading(reading))?.bag;
    if (!bag) return;
    this.#held = await holdBag(this.store.slug, bag);
    if (this.#held) return;
    this.store.writable = false;
    this.status.readOnly("This bag is being counted in another tab of this browser. Here it can only be looked at.");
    this.#waiting = new AbortController();
    awaitBag(this.store.slug, bag, this.#waiting.signal)
      .then((release) => { release(); this.show(); }, () => {});
  }
}
