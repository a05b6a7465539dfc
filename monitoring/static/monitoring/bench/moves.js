// On to the next place, back, past one that cannot be read, and the number of cells fixed.
import { chosenIn, unreadIn } from "./course.js";
import { placeWords } from "./sayings.js";

// Reasons why a place cannot be read, chosen by the keys of the first organisms.
export const SKIP_REASONS = ["covered by debris", "grid cannot be read", "spilt or dried out", "disturbed while looking"];

export async function goOn(desk) {
  if (desk.back) {
    desk.back = null;
    desk.tones.change();
    return desk.say(desk.complete ? "Everything is read." : `On with ${placeWords(desk.here) || "the number of cells"}.`);
  }
  if (desk.awaitsCall) return call(desk);
  const { pass, place } = desk.here;
  if (!place) return desk.refuse("Everything is read. Finish, or go back.");
  await desk.append("read", { pass, place });
  return arrived(desk, pass);
}

// Say where the look goes now: a long tone where a number of places is reached.
function arrived(desk, pass) {
  const { here } = desk;
  if (here.place && here.pass === pass) {
    desk.tones.change();
    return desk.say(`${placeWords(here)}.`);
  }
  desk.tones.reached();
  if (here.place) return desk.say("The cells are read. Now the whole dish, row by row: row 1, to the right.");
  return desk.say(desk.awaitsCall ? "The first cells are read. Look how many more are needed." : "Everything is read.");
}

async function call(desk) {
  const { cells } = desk.plan;
  await desk.append("call", { cells });
  const more = unreadIn(desk.course, desk.live.state, "cells").length;
  if (!more) return arrived(desk, "cells");
  desk.tones.change();
  return desk.say(`${cells} cells in all, ${more} more. ${placeWords(desk.here)}.`);
}

// Going back is allowed, and said: what was counted before stays as it is.
export function goBack(desk) {
  const { pass, place } = desk.here, within = pass ?? desk.course.passes.at(-1);
  const places = chosenIn(desk.course, desk.live.state, within);
  const at = place ? places.indexOf(place) : places.length;
  if (at <= 0) return desk.refuse("There is nothing before this.");
  desk.back = { pass: within, place: places[at - 1] };
  desk.tones.change();
  const skipped = desk.back.place in desk.live.state.skipped[within];
  return desk.say(`Back in ${placeWords(desk.back)}${skipped ? ", which was skipped: nothing is counted there." : ". What you count now goes there."}`);
}

export function askSkip(desk) {
  if (!desk.here.place) return desk.refuse("There is nothing to skip here.");
  desk.skipping = !desk.skipping;
  desk.tones.change();
  const choices = SKIP_REASONS.map((why, i) => `${i + 1} ${why}`).join(", ");
  return desk.say(desk.skipping ? `Why? ${choices}. Any other key: not skipped.` : "Not skipped.");
}

export function cancelSkip(desk) {
  desk.skipping = false;
  return desk.refuse("Not skipped.");
}

export async function skip(desk, slot) {
  const why = SKIP_REASONS[slot], { pass, place } = desk.here;
  if (!why) return cancelSkip(desk);
  desk.skipping = false;
  await desk.append("skip", { pass, place, why });
  desk.back = null;
  return arrived(desk, pass);
}
