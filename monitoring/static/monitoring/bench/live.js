// A reading as it stands at the bench, kept up press by press: fold.js folds all events again,
// which takes too long between two presses of thousands. Undo takes the last act back, redo the
// last undone, so acts are a stack; a test holds this to fold.js.

const ACTS = new Set(["press", "read", "skip", "call", "uncountable", "magnification", "score", "note"]);

export class Live {
  constructor(events) {
    this.started = null;
    this.ended = null;
    this.acts = [];
    this.undone = [];
    this.counts = new Map();
    for (const event of events) this.take(event);
  }

  // Take the next event of the reading, as the store numbered it.
  take(event) {
    if (event.kind === "start") this.#start(event);
    else if (event.kind === "finish" || event.kind === "drop") this.ended = event;
    else if (event.kind === "undo") this.#undo(event.payload.event);
    else if (event.kind === "redo") this.#redo(event.payload.event);
    else if (ACTS.has(event.kind)) {
      this.undone = [];
      this.#stand(event);
    }
  }

  #start(event) {
    this.started = event.payload;
    this.startedAt = event.at;
    this.author = event.author;
    for (const one of event.payload.organisms) this.counts.set(one.id, new Map());
  }

  #stand(event) {
    this.acts.push(event);
    if (event.kind === "press") this.#add(event, 1);
    else this.settled = null;
  }

  #undo(id) {
    const at = this.acts.findLastIndex((act) => act.id === id);
    if (at < 0) return;
    const [act] = this.acts.splice(at, 1);
    if (act.kind === "press") this.#add(act, -1);
    else this.settled = null;
    this.undone.push(act);
  }

  #redo(id) {
    const at = this.undone.findLastIndex((act) => act.id === id);
    if (at >= 0) this.#stand(this.undone.splice(at, 1)[0]);
  }

  #add(press, by) {
    const { organism, place } = press.payload;
    const places = this.counts.get(organism);
    if (places) places.set(place, (places.get(place) ?? 0) + by);
  }

  scope(organism) {
    return this.started.organisms.find((one) => one.id === organism)?.scope;
  }

  get lastAct() {
    return this.acts.at(-1) ?? null;
  }

  get lastUndone() {
    return this.undone.at(-1) ?? null;
  }

  // The newest presses, newest last.
  lastPresses(most) {
    const found = [];
    for (let i = this.acts.length - 1; i >= 0 && found.length < most; i -= 1) {
      if (this.acts[i].kind === "press") found.unshift(this.acts[i]);
    }
    return found;
  }

  // Places read in the order first read, places skipped with why, and what was stated. Presses
  // change nothing of it, so that it is made again seldom.
  get state() {
    this.settled ??= this.#settle();
    return this.settled;
  }

  #settle() {
    const latest = new Map();
    const found = { read: { cells: [], whole: [] }, skipped: { cells: {}, whole: {} }, uncountable: new Set(), notes: [], called: null, magnification: this.started?.magnification ?? null, score: null };
    const placed = this.acts.filter((act) => act.kind === "read" || act.kind === "skip");
    for (const act of placed) latest.set(`${act.payload.pass}/${act.payload.place}`, act);
    for (const { kind, payload } of placed) {
      const { pass, place } = payload, last = latest.get(`${pass}/${place}`);
      if (last.kind === "skip") found.skipped[pass][place] = last.payload.why;
      else if (kind === "read" && !found.read[pass].includes(place)) found.read[pass].push(place);
    }
    for (const { kind, payload } of this.acts) {
      if (kind === "call") found.called = payload.cells;
      else if (kind === "uncountable") found.uncountable.add(payload.organism);
      else if (kind === "note") found.notes.push(payload.text);
      else if (kind === "magnification" || kind === "score") found[kind] = payload.value;
    }
    return found;
  }

  at(organism, place) {
    return this.counts.get(organism)?.get(place) ?? 0;
  }

  // All presses that stand, or those of places read, which alone count.
  pressed(organism) {
    let total = 0;
    for (const count of this.counts.get(organism)?.values() ?? []) total += count;
    return total;
  }

  counted(organism) {
    const places = this.counts.get(organism) ?? new Map();
    return this.state.read[this.scope(organism)].reduce((total, place) => total + (places.get(place) ?? 0), 0);
  }
}
