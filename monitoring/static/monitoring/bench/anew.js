// Become another device: everything is let go of but the photographs that wait, which no
// file holds; they are told of anew, and sent.
import { forgetDatabase, openDatabase } from "./database.js";
import { waitingPhotos } from "./photo_store.js";

// A picture of its own, which does not end with the database that held it.
async function lifted(photo) {
  const bytes = await photo.blob.arrayBuffer();
  return { ...photo, blob: new Blob([bytes], { type: photo.blob.type }), told: false };
}

export async function beginAnew(slug, db) {
  const photos = await Promise.all((await waitingPhotos(db)).map(lifted));
  db.close();
  await forgetDatabase(slug);
  if (!photos.length) return;
  const fresh = await openDatabase(slug, () => {});
  const table = fresh.transaction("photos", "readwrite");
  await Promise.all([...photos.map((photo) => table.store.put(photo)), table.done]);
  fresh.close();
}
