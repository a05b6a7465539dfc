// Photographs wait beside the events; `waiting` is 1 until the server has one.
import { notKept } from "./append.js";

export async function keepPhoto(db, blob, meta, at) {
  const id = meta.id ?? crypto.randomUUID();
  try {
    await db.put("photos", { ...meta, id, blob, at, waiting: 1 });
  } catch (error) {
    throw notKept(error);
  }
  return id;
}

// Photographs that the server does not have yet.
export const waitingPhotos = (db) => db.getAllFromIndex("photos", "waiting");

// Change what is said of one; `{waiting: undefined}` takes it off the waiting ones.
export async function changePhoto(db, id, changes) {
  const table = db.transaction("photos", "readwrite");
  const row = await table.store.get(id);
  if (row) {
    const changed = { ...row, ...changes };
    if (!changed.waiting) delete changed.waiting;
    await table.store.put(changed);
  }
  await table.done;
}
