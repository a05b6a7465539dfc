// Fold the events of one reading into what was counted; monitoring/bench/folding.py does
// the same on the server, and tests/monitoring/bench/vectors.json holds both to it.

export const UNDOABLE = new Set(["press", "read", "skip", "call", "uncountable", "magnification", "score", "note"]);
const PASSES = ["cells", "whole"];
const KINDS = new Set([...UNDOABLE, "start", "undo", "redo", "finish", "drop"]);

// Say what a reading's events come to, in whatever order they are given.
export function fold(events) {
  const state = { started: null, ended: null, taken: new Map(), undone: new Set(), redoable: [], others: new Set(), odd: [] };
  const once = new Map(events.filter((event) => !event.refused).map((event) => [event.id, event]));
  for (const event of [...once.values()].sort((a, b) => a.sequence - b.sequence)) take(state, event);
  return told(state);
}

function take(state, event) {
  const { kind, id, payload } = event;
  const why = whyNot(state, event);
  if (why) {
    state.odd.push(`${kind} ${why}`);
  } else if (UNDOABLE.has(kind)) {
    state.taken.set(id, event);
    state.redoable = [];
    return;
  } else if (kind === "undo") {
    state.undone.add(payload.event);
    state.redoable.push(payload.event);
  } else if (kind === "redo") {
    state.undone.delete(payload.event);
    state.redoable = state.redoable.filter((one) => one !== payload.event);
  } else if (kind === "start") {
    state.started = payload;
  } else {
    state.ended = event;
  }
  state.others.add(id);
}

function whyNot(state, event) {
  if (!KINDS.has(event.kind)) return "is not a kind of event";
  if (event.kind === "start") return state.started ? "for the second time" : "";
  if (!state.started) return "before the start";
  if (state.ended) return "after the end";
  return whyNoAct(state, event);
}

function whyNoAct(state, { kind, payload }) {
  if (kind === "undo" || kind === "redo") return whyNoUndo(state, kind, payload.event);
  if (kind === "press" || kind === "uncountable") {
    return scopesOf(state).has(payload.organism) ? "" : "of an organism that is not in the reading";
  }
  if (kind === "read" || kind === "skip") return PASSES.includes(payload.pass) ? "" : "in an unknown pass";
  return "";
}

function whyNoUndo(state, kind, target) {
  if (!state.taken.has(target)) {
    return state.others.has(target) ? "of an event that cannot be undone" : "of an event that is not in the reading";
  }
  if (state.undone.has(target) === (kind === "undo")) {
    return `of an event that ${kind === "undo" ? "is undone" : "stands"} already`;
  }
  return "";
}

const scopesOf = ({ started }) => new Map((started?.organisms ?? []).map(({ id, scope }) => [id, scope]));

function told(state) {
  const active = [...state.taken].filter(([id]) => !state.undone.has(id)).map(([, event]) => event);
  const { read, skipped } = placesOf(active);
  const scopes = scopesOf(state);
  const presses = active.filter(({ kind }) => kind === "press");
  const odd = [...state.odd];
  const finished = state.ended?.kind === "finish";
  if (finished) {
    const lost = presses.filter(({ payload: { organism, place } }) => {
      const scope = scopes.get(organism);
      return !(read[scope] ?? []).includes(place) && !(place in (skipped[scope] ?? {}));
    }).length;
    if (lost) odd.push(`presses in places neither read nor skipped: ${lost}`);
  }
  const ended = state.ended?.payload ?? {};
  return {
    started: state.started,
    organisms: organismsOf(scopes, active, read),
    read,
    skipped,
    called: last(active, "call", "cells"),
    magnification: last(active, "magnification", "value") || (state.started?.magnification ?? null),
    score: last(active, "score", "value"),
    note: active.filter(({ kind }) => kind === "note").map(({ payload }) => payload.text ?? "").join("\n"),
    presses: presses.length,
    undone: state.undone.size,
    last_active: active.at(-1)?.id ?? null,
    last_undone: state.redoable.at(-1) ?? null,
    finished: finished ? { totals: ended.totals ?? {}, unread_why: ended.unread_why || "" } : null,
    dropped: state.ended && !finished ? ended.why || "" : null,
    odd,
  };
}

// Places read, in the order first read, and those skipped; of one that was both, the
// later act goes.
function placesOf(active) {
  const acts = active.filter(({ kind }) => kind === "read" || kind === "skip");
  const latest = new Map(acts.map((event) => [`${event.payload.pass}/${event.payload.place}`, event]));
  const read = { cells: [], whole: [] };
  const skipped = { cells: {}, whole: {} };
  const seen = new Set();
  for (const { kind, payload: { pass, place } } of acts) {
    const key = `${pass}/${place}`;
    const newest = latest.get(key);
    if (newest.kind === "skip") skipped[pass][place] = newest.payload.why || "";
    else if (kind === "read" && !seen.has(key)) {
      seen.add(key);
      read[pass].push(place);
    }
  }
  return { read, skipped };
}

function organismsOf(scopes, active, read) {
  const organisms = {};
  for (const [id, scope] of scopes) organisms[id] = { scope, uncountable: false, count: 0, places: {} };
  for (const { kind, payload: { organism, place } } of active) {
    if (kind === "uncountable") organisms[organism].uncountable = true;
    else if (kind === "press") organisms[organism].places[place] = (organisms[organism].places[place] ?? 0) + 1;
  }
  for (const one of Object.values(organisms)) {
    one.count = (read[one.scope] ?? []).reduce((sum, place) => sum + (one.places[place] ?? 0), 0);
  }
  return organisms;
}

function last(active, kind, key) {
  return active.findLast((event) => event.kind === kind)?.payload[key] ?? null;
}
