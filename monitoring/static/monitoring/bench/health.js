// Whether this browser can keep a reading at all, in words.

// A reading of 10,000 presses takes about 5 MB with its indexes.
const ROOM_BYTES = 50e6;

// What must be there before the store can be opened; "" when all is.
export function missing() {
  if (!window.isSecureContext) return "Browsers keep pages and counts for https addresses only, and this one is not. Open the bench at an https address; here no count can be started.";
  if (!window.indexedDB) return "This browser keeps nothing for pages (its storage is switched off, or the window is private). Open the bench in an ordinary window; here no count can be started.";
  if (!navigator.locks || !window.BroadcastChannel) return "This browser is too old to keep counts safely. Update it, or use another one; here no count can be started.";
  return "";
}

// Say why the store did not open.
export function notOpened(error) {
  return `This browser would not open its storage (${error?.name ?? "error"}): it is full, switched off, or the window is private. Free some space or use an ordinary window; here no count can be started.`;
}

// Ask how much room there is and whether what is kept is safe from the browser's tidying.
export async function lookAtRoom() {
  const storage = navigator.storage;
  if (!storage?.estimate) return { refusal: "", persisted: false, room: null };
  const { quota = 0, usage = 0 } = await storage.estimate();
  const persisted = (await storage.persisted?.()) || (await storage.persist?.()) || false;
  const room = quota - usage;
  const refusal = room < ROOM_BYTES
    ? `The browser has only ${Math.max(0, Math.round(room / 1e6))} MB left for this page, which is too little for a reading. It may be a private window, or the device is full. Free some space or use an ordinary window; until then no reading can be started here.`
    : "";
  return { refusal, persisted, room };
}
