// What each person set for the tally, on this device: keys, sounds, and what was asked last.

export const DEFAULTS = {
  volume: 0.6, speech: false, vibrate: true, hold: false, mirror: false, own: {},
  dish: "", magnification: null, wantedCv: null, scopes: {},
};
// Read by the sounds at each tone, so that a change is heard at once.
export const prefs = structuredClone(DEFAULTS);

const keyOf = (kit) => `tally:${kit.person.id}`;

export async function loadPrefs(store, kit) {
  const kept = (await store.setting(keyOf(kit))) ?? {};
  return Object.assign(prefs, structuredClone(DEFAULTS), kept);
}

export async function keepPrefs(store, kit, changes) {
  Object.assign(prefs, changes);
  await store.keepSetting(keyOf(kit), structuredClone(prefs));
}
