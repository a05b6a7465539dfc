// What still has to reach the server: kept as one number, up to which all events were
// answered, so that a press costs one write and an answer to 500 costs one more.

const after = (sequence) => IDBKeyRange.lowerBound(sequence, true);
const sentTo = async (settings) => (await settings.get("sentTo")) ?? 0;

// A reading's events in order, without those that the server refused.
export async function eventsOf(db, reading) {
  const events = await db.getAllFromIndex("events", "reading", reading);
  return events.filter(({ refused }) => !refused);
}

// Own events that wait, in order of their numbers; those that the server was too old
// for (`later`) only when asked for.
export async function unsent(db, limit, { later = false } = {}) {
  const tables = db.transaction(["events", "again", "settings"]);
  const events = tables.objectStore("events");
  const again = tables.objectStore("again");
  const [keys, marks] = await Promise.all([again.getAllKeys(), again.getAll()]);
  const wanted = keys.filter((_, i) => later || !marks[i].later).slice(0, limit);
  const repeated = await Promise.all(wanted.map((key) => events.get(key)));
  const found = repeated.filter(Boolean);
  if (found.length >= limit) return found;
  const range = after(await sentTo(tables.objectStore("settings")));
  return [...found, ...(await events.getAll(range, limit - found.length))];
}

// Take the server's answers to own events; each result carries the event's `sequence`.
export async function markAnswered(db, results, at) {
  const tables = db.transaction(["events", "again", "settings", "refused"], "readwrite");
  const settings = tables.objectStore("settings");
  const again = tables.objectStore("again");
  let highest = await sentTo(settings);
  for (const { sequence, status, why, later } of results) {
    if (sequence > highest) highest = sequence;
    if (status === "refused" && later) {
      again.put({ later: true, why }, sequence);
      continue;
    }
    again.delete(sequence);
    if (status === "refused") {
      const event = await tables.objectStore("events").get(sequence);
      if (!event) continue;
      tables.objectStore("refused").put({ event, why, at });
      tables.objectStore("events").put({ ...event, refused: why });
    }
  }
  settings.put(highest, "sentTo");
  await tables.done;
}

// Mark what the server misses to be sent again; gives the numbers that are not here.
export async function sendAgain(db, ranges) {
  const tables = db.transaction(["events", "again", "settings"], "readwrite");
  const again = tables.objectStore("again");
  const until = await sentTo(tables.objectStore("settings"));
  const marked = new Set(await again.getAllKeys());
  const lost = [];
  for (const [from, to] of ranges) {
    const last = Math.min(to, until);
    if (last < from) continue;
    const range = IDBKeyRange.bound(from, last);
    const keys = await tables.objectStore("events").getAllKeys(range);
    keys.filter((key) => !marked.has(key)).forEach((key) => again.put({}, key));
    if (keys.length < last - from + 1) lost.push([from, last]);
  }
  await tables.done;
  return lost;
}

// How many presses and other acts wait, since when, and how many were refused.
export async function counts(db) {
  const tables = db.transaction(["events", "again", "settings", "refused", "carried", "photos"]);
  const events = tables.objectStore("events");
  const carried = tables.objectStore("carried");
  const range = after(await sentTo(tables.objectStore("settings")));
  const [fresh, repeated, brought, refused, photos, again, brought1] = await Promise.all([
    events.count(range),
    tables.objectStore("again").count(),
    carried.count(),
    tables.objectStore("refused").count(),
    tables.objectStore("photos").index("waiting").count(),
    tables.objectStore("again").getAllKeys(null, 1),
    carried.getAll(null, 1),
  ]);
  const own = again.length ? await events.get(again[0]) : (await events.getAll(range, 1))[0];
  const oldestAt = own?.at ?? brought1[0]?.event.at ?? null;
  return { unsent: fresh + repeated + brought, oldestAt, refused, photos, carried: brought };
}

// Forget own events that the server has had for long and that no open reading needs.
export async function forget(db, before) {
  const tables = db.transaction(["events", "readings", "settings", "again"], "readwrite");
  const events = tables.objectStore("events");
  const rows = await tables.objectStore("readings").getAll();
  const closed = new Set(rows.filter((row) => row.state !== "open").map((row) => row.id));
  const until = await sentTo(tables.objectStore("settings"));
  const again = new Set(await tables.objectStore("again").getAllKeys());
  let cursor = await events.openCursor(IDBKeyRange.upperBound(until));
  while (cursor && cursor.value.at < before) {
    const { sequence, reading } = cursor.value;
    if (!again.has(sequence) && (!reading || closed.has(reading))) cursor.delete();
    cursor = await cursor.continue();
  }
  await tables.done;
}

// Take the server's answers [{row, status, why}] to events of other devices.
export async function markCarried(db, answered, at) {
  const tables = db.transaction(["carried", "refused"], "readwrite");
  for (const { row, why, status } of answered) {
    tables.objectStore("carried").delete([row.device.id, row.event.sequence]);
    if (status === "refused") tables.objectStore("refused").put({ ...row, why, at });
  }
  await tables.done;
}
