// The tables that a device keeps, one database for each farm group.
import { deleteDB, openDB } from "../../vendor/idb-8.0.4/index.js";

function make(db) {
  // Numbers are given by the database itself: from 1, without a gap, also when two
  // tabs write, and given back when a transaction fails.
  const events = db.createObjectStore("events", { keyPath: "sequence", autoIncrement: true });
  events.createIndex("reading", "reading");
  // Acts beside readings, which are few, without going through all presses.
  events.createIndex("beside", "beside");
  db.createObjectStore("readings", { keyPath: "id" });
  // The kit, the device, how far events were answered, where the person was.
  db.createObjectStore("settings");
  // Numbers of events to be sent again, though later ones were answered.
  db.createObjectStore("again");
  db.createObjectStore("refused", { keyPath: "event.id" });
  // Events of other devices, brought here in a file.
  db.createObjectStore("carried", { keyPath: ["device.id", "event.sequence"] });
  const photos = db.createObjectStore("photos", { keyPath: "id" });
  photos.createIndex("waiting", "waiting");
}

export const forgetDatabase = (slug) => deleteDB(`bench-${slug}`);

// Open the group's database; `onClosed` hears, in words, when it is closed from outside.
export function openDatabase(slug, onClosed) {
  return openDB(`bench-${slug}`, 1, {
    upgrade: make,
    blocking(_from, _to, event) {
      event.target.close();
      onClosed("A newer version of this page is open in another tab. Reload this one.");
    },
    terminated() {
      onClosed("The browser closed this page's storage. Reload the page.");
    },
  });
}
