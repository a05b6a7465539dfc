// What each key does to a reading: acts are put on disk one after the other, and only then heard.
import { awaitsCall, nextPlace, planOf } from "./course.js";
import { askSkip, cancelSkip, goBack, goOn, skip } from "./moves.js";
import { placeWords, sayTotals } from "./sayings.js";

export class Desk extends EventTarget {
  #queue = Promise.resolve();
  back = null; // a place read before that the person went back to
  skipping = false; // whether the next key gives the reason for a skip

  constructor({ store, reading, organisms, live, course, slots, tones }) {
    super();
    Object.assign(this, { store, reading, live, course, slots, tones, waiting: 0 });
    this.organismAt = new Map([...slots].map(([id, slot]) => [slot, id]));
    this.names = new Map(organisms.map((one) => [one.id, one.name]));
    const last = live.lastAct?.kind === "press" ? live.lastAct.payload : null;
    const pass = last && live.scope(last.organism);
    if (last && live.state.read[pass].includes(last.place)) this.back = { pass, place: last.place };
  }

  get here() { return this.back ?? nextPlace(this.course, this.live.state); }
  get awaitsCall() { return !this.back && awaitsCall(this.course, this.live.state); }
  get complete() { return !this.here.pass; }
  get plan() { return planOf(this.course, this.live); }
  get ended() { return this.live.ended; }

  // Take an action up in its turn: presses faster than the disk wait and are not lost.
  act(action, detail = {}) {
    this.waiting += 1;
    this.#queue = this.#queue.then(async () => {
      try {
        await this.#do(action, detail);
      } catch (error) {
        this.refuse(error.message, { alarm: true });
      }
      this.waiting -= 1;
      this.#tell("change");
    });
    return this.#queue;
  }

  // When all that was asked so far is on disk or refused.
  settled() { return this.#queue; }

  #tell(name, detail = null) { this.dispatchEvent(new CustomEvent(name, { detail })); }
  say(words, { spoken = words, alarm = false } = {}) {
    this.#tell("words", { words, alarm });
    if (spoken) this.tones.speak(spoken);
  }

  refuse(words, { alarm = false } = {}) {
    this.tones.refused();
    this.say(words, { alarm });
  }

  async append(kind, payload) {
    const [event] = await this.store.append([{ kind, reading: this.reading, payload }]);
    this.live.take(event);
  }

  async #do(action, detail) {
    if (this.ended) return this.refuse("This reading is finished. Start another from the list of bags.");
    if (action.startsWith("organism ")) {
      const slot = Number(action.slice(9)) - 1;
      return this.skipping ? skip(this, slot) : this.#press(slot);
    }
    if (this.skipping && action !== "skip") return cancelSkip(this);
    const acts = { next: goOn, back: goBack, skip: askSkip, undo: () => this.#undo(), redo: () => this.#redo(), say: () => this.#sayAll(), finish: () => this.#tell("finish") };
    if (acts[action]) return acts[action](this);
    await this.append(action, detail);
    this.tones.change();
    return this.say("Kept.", { spoken: "" });
  }

  async #press(slot) {
    const organism = this.organismAt.get(slot), { pass, place } = this.here;
    if (!organism) return this.refuse(`No organism of this reading has key ${slot + 1}.`);
    const name = this.names.get(organism), scope = this.live.scope(organism);
    if (this.awaitsCall) return this.refuse("The first cells are read. Agree to the number of cells, then go on.");
    if (!place) return this.refuse("Everything is read. Finish, or go back.");
    if (this.live.state.uncountable.has(organism)) return this.refuse(`${name}: marked as not countable. Undo that to count them.`);
    if (scope !== pass) {
      return this.refuse(scope === "whole" ? `${name}: counted over the whole dish, row by row, after the cells.` : `${name}: counted in the cells only.`);
    }
    if (place in this.live.state.skipped[pass]) return this.refuse(`${placeWords({ place })} was skipped: nothing is counted there.`);
    await this.append("press", { organism, place });
    this.tones.hit(slot);
    return this.#tell("pressed", { organism, slot });
  }

  async #undo() {
    const act = this.live.lastAct;
    if (!act) return this.refuse("There is nothing to undo.");
    await this.append("undo", { event: act.id });
    if (act.kind !== "press") this.back = null;
    this.tones.undo();
    return this.say(`Undo, ${this.#nameOf(act)}.`);
  }

  async #redo() {
    const act = this.live.lastUndone;
    if (!act) return this.refuse("There is nothing to do again.");
    await this.append("redo", { event: act.id });
    this.tones.redo();
    return this.say(`Again, ${this.#nameOf(act)}.`);
  }

  #nameOf({ kind, payload }) {
    const name = this.names.get(payload.organism) ?? "", where = placeWords(payload);
    return { press: `${name}, ${where}`, read: `${where} is not read`, skip: `${where} is not skipped`, call: "the number of cells", uncountable: `${name} not countable` }[kind] ?? kind;
  }

  #sayAll() {
    const words = sayTotals(this);
    this.#tell("words", { words, alarm: false });
    return this.tones.speak(words, { asked: true });
  }
}
