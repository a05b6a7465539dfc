// Put events on disk: together or not at all, and told as kept only when the browser
// says that the transaction is complete.

const SCHEMA = 1;
const ENDS = { finish: "finished", drop: "dropped" };
const opensOrEnds = ({ kind }) => kind === "start" || kind in ENDS;

export class StoreError extends Error {}

// Say in words what became of something that could not be kept.
export function notKept(error) {
  const words = error?.name === "QuotaExceededError"
    ? "The browser has no room left on this device: this was NOT kept. Send what waits, or save it to a file, and free some space."
    : `The browser could not keep this (${error?.name ?? "error"}): it was NOT kept. Reload the page; if it happens again, count on paper.`;
  return new StoreError(words, { cause: error });
}

async function noteReading(rows, { kind, reading, payload, at, author }) {
  if (kind === "start") {
    await rows.put({ id: reading, ...payload, state: "open", at, author, server: null });
    return;
  }
  const row = await rows.get(reading);
  if (row) await rows.put({ ...row, state: ENDS[kind], closedAt: at });
}

// Give the drafts [{kind, reading, payload}] as stored, with id, sequence, at, author.
export async function append(db, drafts, { at, author, durability }) {
  const made = drafts.map(({ kind, reading = null, payload = {} }) =>
    ({ id: crypto.randomUUID(), schema: SCHEMA, kind, at, author, reading, payload, ...(reading ? {} : { beside: 1 }) }));
  const marks = made.filter(opensOrEnds);
  try {
    const scope = marks.length ? ["events", "readings"] : ["events"];
    const tables = db.transaction(scope, "readwrite", { durability });
    const keys = made.map((event) => tables.objectStore("events").add(event));
    const rows = marks.map((event) => noteReading(tables.objectStore("readings"), event));
    const [, sequences] = await Promise.all([tables.done, Promise.all(keys), ...rows]);
    sequences.forEach((sequence, i) => { made[i].sequence = sequence; });
  } catch (error) {
    throw notKept(error);
  }
  return made;
}
