// What is done while collecting, each kept on this device before it is said.
import { printed, readCode } from "./codes.js";

export const nameOf = (bag) => (bag.label ? printed(bag.label) : `bag ${bag.code}`);

export async function collectBag(store, bag, position) {
  const at = store.now().toISOString();
  const point = await position.get();
  const [event] = await store.append([{ kind: "collect", payload: { bag: bag.id, collected_at: at, point, note: "" } }]);
  return event;
}

export const takeBack = (store, bag) =>
  store.append([{ kind: "uncollect", payload: { bag: bag.id, why: "taken back at the device" } }]);

export const loseBag = (store, bag, why) => store.append([{ kind: "lose", payload: { bag: bag.id, why } }]);

// Find the bag that was scanned or typed: a label, or a number of the round shown.
// Gives {bag} or {why}.
export function findBag(bags, round, typed) {
  const text = typed.trim(), { code, why } = readCode(text);
  if (code) {
    const bag = bags.find((one) => one.label === code);
    return bag ? { bag } : { why: `Label ${printed(code)} is not among the bags kept here. If it is new, bring the device to a network once.` };
  }
  const numbered = bags.find((one) => one.round.id === round && one.code.toLowerCase() === text.toLowerCase());
  return numbered ? { bag: numbered } : { why };
}
