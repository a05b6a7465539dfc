// What this device keeps: events, readings, the kit, settings, photographs.
import { beginAnew } from "./anew.js";
import { append, StoreError } from "./append.js";
import { openDatabase } from "./database.js";
import * as outbox from "./outbox.js";
import * as photos from "./photo_store.js";
import { readFile, savedFile } from "./saved_file.js";

// Sent events stay for so long, so that a site restored from a backup can ask again.
const KEPT_MS = 30 * 864e5;

// Open the farm group's store of this browser, which makes the browser a device of it.
export async function openStore(slug, { now = () => new Date(), durability = "strict" } = {}) {
  const store = new Store(slug, now, durability);
  await store.open();
  return store;
}

// Tells "change" (events, readings, photographs), "kit" and "closed" (detail: words);
// the first two also when another tab did it.
class Store extends EventTarget {
  #db;
  #kit = null;
  #others;

  constructor(slug, now, durability) {
    super();
    this.slug = slug;
    this.now = now;
    this.durability = durability;
    this.refusal = ""; // why no reading may be started here, in words
    this.writable = true; // false while another tab counts the bag shown
  }

  async open() {
    this.#db = await openDatabase(this.slug, (words) =>
      this.dispatchEvent(new CustomEvent("closed", { detail: words })));
    this.#kit = (await this.setting("kit")) ?? null;
    const settings = this.#db.transaction("settings", "readwrite");
    this.device = await settings.store.get("device");
    if (!this.device) {
      this.device = { id: crypto.randomUUID(), name: "" };
      settings.store.put(this.device, "device");
    }
    await settings.done;
    this.#others = new BroadcastChannel(`bench-${this.slug}`);
    this.#others.onmessage = async ({ data }) => {
      if (data === "kit") this.#kit = (await this.setting("kit")) ?? null;
      this.dispatchEvent(new CustomEvent(data));
    };
  }

  #tell(kind) {
    this.dispatchEvent(new CustomEvent(kind));
    this.#others.postMessage(kind);
  }

  async nameDevice(name) {
    await this.keepSetting("device", this.device = { ...this.device, name });
    this.#tell("change");
  }

  // Store events [{kind, reading, payload}] together or not at all; gives them as stored.
  // Rejects with a StoreError whose message is for the person.
  async append(drafts) {
    if (!this.writable) throw new StoreError("Another tab counts this bag: nothing was kept here. Count there, or close it.");
    if (this.refusal && drafts.some(({ kind }) => kind === "start")) throw new StoreError(this.refusal);
    const made = await append(this.#db, drafts, {
      at: this.now().toISOString(),
      author: this.#kit?.person.id ?? null,
      durability: this.durability,
    });
    this.#tell("change");
    return made;
  }

  eventsOf(reading) { return outbox.eventsOf(this.#db, reading); }
  acts() { return this.#db.getAllFromIndex("events", "beside"); } // collect, wash, photo, ...

  // Rows {id, ...payload of start, state: open|finished|dropped, at, author, server}.
  async reading(id) { return (await this.#db.get("readings", id)) ?? null; }
  async readings() { return (await this.#db.getAll("readings")).sort((a, b) => (a.at < b.at ? 1 : -1)); }

  // Keep what the server says of readings [{id, state, why, bag, url}].
  async noteServer(told) {
    const rows = this.#db.transaction("readings", "readwrite");
    for (const { id, ...server } of told) {
      const row = await rows.store.get(id);
      if (row) rows.store.put({ ...row, server });
    }
    await rows.done;
    if (told.length) this.#tell("change");
  }

  unsent(limit, options) { return outbox.unsent(this.#db, limit, options); }
  counts() { return outbox.counts(this.#db); } // {unsent, oldestAt, refused, photos, carried}
  refused() { return this.#db.getAll("refused"); }
  async forgetRefused() {
    await this.#db.clear("refused");
    this.#tell("change");
  }

  sendAgain(ranges) { return outbox.sendAgain(this.#db, ranges); }
  carried(limit) { return this.#db.getAll("carried", null, limit); }
  markAnswered(results) { return this.#taken(outbox.markAnswered, results); }
  markCarried(answered) { return this.#taken(outbox.markCarried, answered); }
  async #taken(take, answers) {
    await take(this.#db, answers, this.now().toISOString());
    this.#tell("change");
  }

  kit() { return this.#kit; }
  // `sent_to`: events up to this number were answered, so that the kit may know them.
  async keepKit(given) {
    const kit = { ...given, sent_to: (await this.setting("sentTo")) ?? 0 };
    await this.keepSetting("kit", kit);
    this.#kit = kit;
    await outbox.forget(this.#db, new Date(this.now() - KEPT_MS).toISOString());
    this.#tell("kit");
  }

  setting(key) { return this.#db.get("settings", key); }
  keepSetting(key, value) { return this.#db.put("settings", value, key); }

  async keepPhoto(blob, meta) {
    const id = await photos.keepPhoto(this.#db, blob, meta, this.now().toISOString());
    this.#tell("change");
    return id;
  }

  photos() { return this.#db.getAll("photos"); }
  waitingPhotos() { return photos.waitingPhotos(this.#db); }
  async changePhoto(id, changes) {
    await photos.changePhoto(this.#db, id, changes);
    this.#tell("change");
  }

  // Let go of all but waiting photographs, and become another device.
  beginAnew() { return beginAnew(this.slug, this.#db); }

  exportAll() { return savedFile(this.#db, this); }
  async importFile(text) {
    const brought = await readFile(this.#db, this, text);
    this.#tell("change");
    return brought;
  }
}
