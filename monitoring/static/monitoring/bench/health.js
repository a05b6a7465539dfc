// Whether this browser can keep a reading at all, in words.

// A reading of 10,000 presses takes about 5 MB with its indexes.
const ROOM_BYTES = 50e6, TRIED_BYTES = 5e6;

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

// Whether the browser takes so many bytes more, by trying.
async function takes(store, bytes) {
  try {
    await store.keepSetting("tried", new Uint8Array(bytes));
    await store.keepSetting("tried", null);
    return true;
  } catch {
    return false;
  }
}

// Find out whether there is room, by the browser's word and by trying: some browsers
// say the same of every device. And ask that it is not tidied away.
export async function lookAtRoom(store) {
  const { quota = Infinity, usage = 0 } = (await navigator.storage?.estimate?.()) ?? {};
  const persisted = (await navigator.storage?.persisted?.()) || (await navigator.storage?.persist?.()) || false;
  const enough = quota - usage >= ROOM_BYTES && (await takes(store, TRIED_BYTES));
  const refusal = enough ? "" : "The browser has too little room left for a reading. It may be a private window, or the device is full. Free some space or use an ordinary window; until then no reading can be started here.";
  return { refusal, persisted };
}
