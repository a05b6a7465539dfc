// One tab counts a bag, one tab sends: held by the browser, and let go when a tab dies.

const nameOf = (slug, bag) => `bench-${slug}-bag-${bag}`;

function take(name, options) {
  return new Promise((resolve, reject) => {
    navigator.locks.request(name, options, (lock) => {
      if (!lock) { resolve(null); return undefined; }
      return new Promise((release) => { resolve(release); });
    }).catch(reject);
  });
}

// Hold a bag for this tab: gives a function that lets go, or null if another tab has it.
export const holdBag = (slug, bag) => take(nameOf(slug, bag), { ifAvailable: true });

// Wait until the bag is free, then hold it; `signal` ends the waiting.
export const awaitBag = (slug, bag, signal) => take(nameOf(slug, bag), { signal });

// Whether any tab of this browser counts the bag.
export async function bagHeld(slug, bag) {
  const { held } = await navigator.locks.query();
  return held.some(({ name }) => name === nameOf(slug, bag));
}

// Run `work` unless another tab sends just now; gives whether it ran.
export function alone(slug, work) {
  return navigator.locks.request(`bench-${slug}-send`, { ifAvailable: true }, async (lock) => {
    if (!lock) return false;
    await work();
    return true;
  });
}
