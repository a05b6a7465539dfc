// What the bench says: the same words on the screen and aloud.
import { printed } from "./codes.js";

export function placeWords({ place }) {
  if (!place) return "";
  return place.startsWith("row ") ? place : `cell ${place}`;
}

export function whole(number) {
  if (!Number.isFinite(number)) return "no upper limit";
  const size = number >= 100 ? 10 ** Math.max(0, Math.floor(Math.log10(number)) - 2) : number >= 10 ? 1 : 0.1;
  return (Math.round(number / size) * size).toLocaleString("en", { maximumFractionDigits: size < 1 ? 1 : 0 });
}

export const inHundred = (share) => `${Math.round(share * 100)} in 100`;

// "about 1,730 (1,420 to 2,100)"
export function withInterval({ total, low, high }) {
  return `about ${whole(total)} (${whole(low)} to ${whole(high)})`;
}

// What was seen in all of a dish is what is there: an interval would be none.
export const allSeen = ({ share }) => share === 1;

// "34 rust mites, 2 predatory mites; 11 of 24 cells read"
export function sayTotals({ live, names }) {
  const counts = live.started.organisms.map((one) => `${live.pressed(one.id)} ${names.get(one.id) ?? "of an organism"}`);
  return `${counts.join(", ")}.`;
}

export function bagWords(bag) {
  const label = bag.label ? `label ${printed(bag.label)}` : "no label";
  return `Bag ${bag.code}, ${label}`;
}
