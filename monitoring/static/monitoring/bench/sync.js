// Send what waits: in order, at most 500 events at a time, again after a failure; the
// server knows events by their ids, so that sending twice changes nothing.
import { AWAY, FINE, refreshKit } from "./kit.js";
import { alone } from "./locks.js";
import { postEvents } from "./post.js";

const BATCH = 500, MOST_CHARACTERS = 400_000;
const SOON_MS = 1500, SLOWEST_MS = 60_000, KIT_MS = 10 * 60_000;

// As many of the events, from the first, as a batch takes.
function fitting(events) {
  let room = MOST_CHARACTERS;
  return events.filter((event, i) => (room -= JSON.stringify(event).length) > 0 || i === 0);
}

export class Sender {
  #timer = 0;
  #due = Infinity;
  #running = null;
  #fails = 0;
  #kitAt = -Infinity;
  #triedLater = false;
  #repeated = new Set();

  // `after` are further senders, run when all events are on the server.
  constructor({ store, status, urls, after = [], random = Math.random }) {
    Object.assign(this, { store, status, urls, after, random });
  }

  start() {
    this.store.addEventListener("change", () => { if (!this.#fails) this.#plan(SOON_MS); });
    addEventListener("online", () => this.now());
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.now(); });
    this.now();
  }

  // Send at once; a person or a network that came back asked for it.
  now() {
    this.#fails = 0;
    return this.#round();
  }

  // What failed waits 1 s, 2 s, ... 60 s, less a random part, so that devices that got
  // their network back together do not come together.
  pause() {
    return Math.min(SLOWEST_MS, 500 * 2 ** this.#fails) * (0.5 + this.random() / 2);
  }

  // Be at it again in so many milliseconds, or sooner where that is planned already.
  #plan(ms) {
    const due = performance.now() + ms;
    if (this.#running || due >= this.#due) return;
    clearTimeout(this.#timer);
    this.#due = due;
    this.#timer = setTimeout(() => this.#round(), ms);
  }

  #round() {
    this.#running ??= this.#try().finally(() => { this.#running = null; }).then((outcome) => this.#next(outcome));
    return this.#running;
  }

  async #try() {
    clearTimeout(this.#timer);
    let outcome = FINE;
    try {
      await alone(this.store.slug, async () => { outcome = await this.#send(); });
    } catch (error) {
      console.warn("sending failed", error);
      this.status.sending("No answer from the server; sending is tried again");
      outcome = AWAY;
    }
    return outcome;
  }

  async #next(outcome) {
    this.#due = Infinity;
    this.#fails = outcome === FINE ? 0 : this.#fails + 1;
    const { unsent } = await this.store.counts();
    if (outcome !== FINE) this.#plan(this.pause());
    else this.#plan(unsent ? SOON_MS : SLOWEST_MS);
    return outcome;
  }

  async #send() {
    const old = performance.now() - this.#kitAt > KIT_MS && !document.hidden;
    if (old || this.#fails) {
      const outcome = await refreshKit(this);
      if (outcome !== FINE) return outcome;
      this.#kitAt = performance.now();
    }
    this.#repeated.clear();
    for (;;) {
      const events = fitting(await this.store.unsent(BATCH, { later: !this.#triedLater }));
      if (!events.length) break;
      const outcome = await this.#batch(this.store.device, events, (results) => this.store.markAnswered(results));
      if (outcome !== FINE) return outcome;
      // What the server was too old for is tried once after each opening of the page.
      this.#triedLater = true;
    }
    const outcome = await this.#sendCarried();
    if (outcome !== FINE) return outcome;
    for (const send of this.after) {
      const found = await send();
      if (found !== FINE) return found;
    }
    return FINE;
  }

  // Events that came in a file go under the device that made them.
  async #sendCarried() {
    for (;;) {
      const rows = await this.store.carried(BATCH);
      if (!rows.length) return FINE;
      const { device } = rows[0];
      const batch = rows.filter((row) => row.device.id === device.id);
      const bySequence = new Map(batch.map((row) => [row.event.sequence, row]));
      const outcome = await this.#batch(device, batch.map((row) => row.event), (results) =>
        this.store.markCarried(results.map((one) => ({ ...one, row: bySequence.get(one.sequence) }))));
      if (outcome !== FINE) return outcome;
    }
  }

  async #batch(device, events, keep) {
    const answer = await postEvents(this, device, events);
    if (typeof answer === "string") return answer;
    const results = answer.results.map((one, i) => ({ ...one, sequence: events[i].sequence }));
    // First what is missing, so that never nothing seems to wait.
    if (device === this.store.device) await this.#mind(answer.missing ?? []);
    await keep(results);
    await this.store.noteServer(answer.readings ?? []);
    return FINE;
  }

  // Send again what the server misses, each stretch once in a round.
  async #mind(missing) {
    const fresh = missing.filter((range) => !this.#repeated.has(`${range}`));
    fresh.forEach((range) => this.#repeated.add(`${range}`));
    const lost = await this.store.sendAgain(fresh);
    if (!lost.length) return;
    const ranges = lost.map(([from, to]) => (from === to ? `${from}` : `${from} to ${to}`)).join(", ");
    this.status.problem(`The server asks for events that are not here any more (numbers ${ranges}). Tell the coordinator: what came after them waits on the page of readings to decide.`);
  }
}
