// Send what waits: in order, at most 500 events at a time, again after a failure; the
// server knows events by their ids, so that sending twice changes nothing.
import { AWAY, FINE, refreshKit, REFUSED, SIGN_IN, trouble } from "./kit.js";
import { alone } from "./locks.js";

const BATCH = 500, CARRIED_BATCH = 500;
const SOON_MS = 1500, SLOWEST_MS = 60_000, KIT_MS = 10 * 60_000;

export class Sender {
  #timer = 0;
  #fails = 0;
  #kitAt = -Infinity;
  #triedLater = false;

  constructor({ store, status, urls, version, random = Math.random }) {
    Object.assign(this, { store, status, urls, version, random });
  }

  start() {
    this.store.addEventListener("change", () => this.#after(SOON_MS, { hurry: true }));
    addEventListener("online", () => this.now());
    addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.now());
    this.now();
  }

  // Send at once; a person or a network that came back asked for it.
  now() {
    this.#fails = 0;
    return this.#round();
  }

  // What failed waits 1 s, 2 s, ... 60 s, less a random part, so that devices that got
  // their network back together do not come together.
  #pause() {
    const full = Math.min(SLOWEST_MS, 1000 * 2 ** this.#fails);
    return full * (0.5 + this.random() / 2);
  }

  #after(ms, { hurry = false } = {}) {
    if (hurry && (this.#timer || this.#fails)) return; // one is coming already
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#round(), ms);
  }

  async #round() {
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => {}, 0); // taken: presses wait for this round's end
    let outcome = FINE;
    try {
      await alone(this.store.slug, async () => { outcome = await this.#send(); });
    } catch (error) {
      console.warn("sending failed", error);
      outcome = AWAY;
    }
    this.#timer = 0;
    this.#fails = outcome === FINE ? 0 : this.#fails + 1;
    const { unsent } = await this.store.counts();
    if (outcome !== FINE) this.#after(this.#pause());
    else this.#after(unsent ? SOON_MS : SLOWEST_MS);
    return outcome;
  }

  async #send() {
    if (performance.now() - this.#kitAt > KIT_MS || this.#fails) {
      const outcome = await refreshKit(this);
      if (outcome !== FINE) return outcome;
      this.#kitAt = performance.now();
    }
    for (;;) {
      const events = await this.store.unsent(BATCH, { later: !this.#triedLater });
      if (!events.length) break;
      const outcome = await this.#batch(this.store.device, events, (results) => this.store.markAnswered(results));
      if (outcome !== FINE) return outcome;
      if (events.length < BATCH) this.#triedLater = true;
    }
    return this.#sendCarried();
  }

  // Events that came in a file go under the device that made them.
  async #sendCarried() {
    for (;;) {
      const rows = await this.store.carried(CARRIED_BATCH);
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
    const answer = await this.#post(device, events);
    if (typeof answer === "string") return answer;
    const results = answer.results.map((one, i) => ({ ...one, sequence: events[i].sequence }));
    if (!results.every((one, i) => one.id === events[i].id)) throw new Error("answers of other events");
    await keep(results);
    await this.store.noteServer(answer.readings ?? []);
    if (device === this.store.device) await this.#mind(answer.missing ?? []);
    return results.length ? FINE : AWAY;
  }

  async #post(device, events, again = true) {
    const { unsent, oldestAt } = await this.store.counts();
    const response = await fetch(this.urls.events, {
      method: "POST",
      redirect: "manual",
      headers: { "Content-Type": "application/json", "X-CSRFToken": this.store.kit()?.csrf_token ?? "" },
      body: JSON.stringify({
        schema: 1,
        device: { id: device.id, name: device.name },
        sent_at: this.store.now().toISOString(),
        unsent,
        oldest_unsent_at: oldestAt,
        events,
      }),
    });
    // A new sign-in makes the token that the kit brought an old one.
    if (response.status === 403 && again) {
      const outcome = await refreshKit(this);
      return outcome === FINE ? this.#post(device, events, false) : outcome;
    }
    const found = trouble(response, this.status, this.urls.login);
    if (found) return found;
    this.status.sending("");
    return response.json();
  }

  async #mind(missing) {
    const lost = await this.store.sendAgain(missing);
    if (!lost.length) return;
    const ranges = lost.map(([from, to]) => (from === to ? `${from}` : `${from} to ${to}`)).join(", ");
    this.status.problem(`The server asks for events that are not here any more (numbers ${ranges}). Tell the coordinator: what came after them waits on the page of readings to decide.`);
  }
}

export { REFUSED, SIGN_IN };
