// What is read back before a reading is finished: totals, the dish, the density, all provisional.
import { chosenIn, totalOf, unreadIn } from "./course.js";
import { perUnit } from "./sampling.js";
import { allSeen, withInterval } from "./sayings.js";
import { many } from "./words.js";

// A cell that holds so many times the middle of the others is looked at again.
const FAR_ABOVE = 10, AT_LEAST = 30, CROWDED = 3000;

export function rowsOf({ kit, live, course, organisms, bag }) {
  return organisms.map((organism) => {
    const count = live.counted(organism.id), given = live.state.uncountable.has(organism.id);
    const total = given ? null : totalOf(course, live, organism.id);
    const recovery = bag && kit.recoveries.find((one) => one.organism === organism.id && one.tissue === bag.tissue);
    const unit = total && recovery ? perUnit(total, bag.units || 1, recovery) : null;
    return { organism, count, given, total, unit };
  });
}

export function readWords({ live, course }) {
  return course.passes.map((pass) => {
    const { state } = live, read = state.read[pass].length, all = chosenIn(course, state, pass).length;
    const skipped = Object.keys(state.skipped[pass]).length;
    const of = pass === "cells" ? `${read} of ${many(course.order.length, "cell")} read` : `${read} of ${many(all, "row")} of the whole dish read`;
    return skipped ? `${of}, ${skipped} skipped` : of;
  }).join("; ");
}

// Chosen places neither read nor skipped.
export function leftOver({ live, course }) {
  return course.passes.flatMap((pass) => unreadIn(course, live.state, pass));
}

// Presses at places that were never said to be read: they would not count.
export function unsettled({ live, course, organisms }) {
  const found = [];
  for (const { id, scope } of organisms) {
    const { read, skipped } = live.state;
    for (const [place, count] of live.counts.get(id)) {
      if (count && !read[scope].includes(place) && !(place in skipped[scope])) found.push(place);
    }
  }
  return course.passes.length ? [...new Set(found)] : [];
}

// What looks so unlikely that the dish should be looked at again; nothing is blocked.
export function doubts({ live, organisms }) {
  const words = [];
  for (const { id, name, scope } of organisms) {
    const counts = live.state.read[scope].map((place) => [place, live.at(id, place)]);
    for (const [place, count] of counts) {
      const others = counts.filter(([other]) => other !== place).map(([, one]) => one).sort((a, b) => a - b);
      const middle = others[Math.floor(others.length / 2)] ?? 0;
      if (others.length >= 4 && count >= AT_LEAST && count > FAR_ABOVE * Math.max(middle, 1)) {
        words.push(`${name}: ${count} in ${place}, where half of the others hold ${middle} or fewer. Look at ${place} again.`);
      }
      if (count > CROWDED) words.push(`${name}: ${count} in ${place} is more than can be told apart. Count the dish again, diluted over more dishes.`);
    }
  }
  return words;
}

export function spokenRow({ organism, count, given, total, unit }, tissue) {
  if (given) return `${organism.name}: not countable.`;
  const dish = !total ? "" : allSeen(total) ? " in all of the dish" : `, in the dish ${withInterval(total)}`;
  return `${organism.name}: ${count} counted${dish}${unit ? `, per ${tissue} ${withInterval(unit)}` : ""}.`;
}
