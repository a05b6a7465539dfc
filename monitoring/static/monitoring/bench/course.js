// Where a reading stands: which place is next, when the pilot is over, what is left.
import { PILOT_CELLS, calledFor, dishTotal, expectedCv, wholeDish } from "./sampling.js";

export const rowPlace = (row) => `row ${row}`;

// The fixed part of a reading: its dish, the order of its cells, what is counted in which pass.
// order: cellOrder of all cells by the reading's seed.
export function makeCourse(started, dish, order) {
  const areas = new Map(dish.cells.map((cell) => [cell.name, cell.area_mm2]));
  const rows = [...new Set(dish.cells.map((cell) => cell.row))].sort((a, b) => a - b);
  const pilot = Math.min(started.pilot ?? PILOT_CELLS, order.length);
  const toAndFro = [...dish.cells].sort((a, b) => a.row - b.row || (a.row % 2 ? b.column - a.column : a.column - b.column));
  const passes = ["cells", "whole"].filter((pass) => started.organisms.some((one) => one.scope === pass));
  return { started, dish, order, areas, pilot, passes, toAndFro: toAndFro.map((cell) => cell.name), rows: rows.map((row) => rowPlace(row + 1)) };
}

const organismsOf = (course, pass) => course.started.organisms.filter((one) => one.scope === pass);

// Cells to look at: as many as are called for, each one skipped replaced by the next drawn. Where
// all are called for, chance decides nothing more: after those read, row by row to and fro.
function chosenCells(course, state) {
  const wanted = state.called ?? course.pilot;
  if (wanted >= course.order.length) {
    const first = [...state.read.cells.slice(0, course.pilot)];
    return [...first, ...course.toAndFro.filter((name) => !first.includes(name))];
  }
  const found = [];
  let readable = 0;
  for (const name of course.order) {
    if (readable >= wanted) break;
    found.push(name);
    if (!(name in state.skipped.cells)) readable += 1;
  }
  return found;
}

export function chosenIn(course, state, pass) {
  return pass === "cells" ? chosenCells(course, state) : course.rows;
}

export function unreadIn(course, state, pass) {
  const read = new Set(state.read[pass]);
  return chosenIn(course, state, pass).filter((name) => !read.has(name) && !(name in state.skipped[pass]));
}

// Whether the pilot is read and the number of cells not yet fixed.
export function awaitsCall(course, state) {
  return course.passes.includes("cells") && state.called === null && !unreadIn(course, state, "cells").length;
}

// The pass and place to look at next; place null where the pass of cells awaits its number, both
// null where everything is read.
export function nextPlace(course, state) {
  for (const pass of course.passes) {
    const [place] = unreadIn(course, state, pass);
    if (place) return { pass, place };
    if (pass === "cells" && awaitsCall(course, state)) return { pass, place: null };
  }
  return { pass: null, place: null };
}

// Counts and areas of the cells read for one organism, in the order read.
function seen(course, live, organism) {
  const names = live.state.read.cells;
  return [names.map((name) => live.at(organism, name)), names.map((name) => course.areas.get(name))];
}

// What the pilot asks for: the organism of the pass of cells that needs most decides.
export function planOf(course, live) {
  const cells = course.order.length, cv = course.started.wanted_cv;
  const plans = organismsOf(course, "cells")
    .filter((one) => !live.state.uncountable.has(one.id))
    .map((one) => {
      const [counts, areas] = seen(course, live, one.id).map((all) => all.slice(0, course.pilot));
      if (counts.length < 2) return { organism: one.id, cells: counts.length, now: NaN, then: NaN, seen: 0 };
      const called = calledFor(counts, areas, cells, cv);
      return {
        organism: one.id, cells: called, seen: counts.reduce((all, one_) => all + one_, 0),
        now: expectedCv(counts, areas, cells, counts.length), then: expectedCv(counts, areas, cells, called),
      };
    });
  return plans.sort((one, other) => other.cells - one.cells)[0] ?? { cells: course.pilot, now: NaN, then: NaN, organism: null, seen: 0 };
}

// Animals in the dish as far as the page can tell; null before two cells.
export function totalOf(course, live, organism) {
  const { state } = live;
  if (live.scope(organism) === "whole") {
    return state.read.whole.length === course.rows.length ? wholeDish(live.counted(organism)) : null;
  }
  const [counts, areas] = seen(course, live, organism);
  const planned = state.called !== null && counts.length === state.called;
  const dish = { area_mm2: course.dish.area_mm2, cells: course.order.length };
  return dishTotal(counts, areas, dish, planned ? course.pilot : 0);
}

// Minutes that so many more places take, by the middle pace of those read; null before three.
export function minutesFor(live, pass, more) {
  const times = [live.startedAt, ...live.acts.filter((act) => act.kind === "read" && act.payload.pass === pass).map((act) => act.at)];
  const gaps = times.slice(1).map((at, i) => new Date(at) - new Date(times[i])).sort((a, b) => a - b);
  if (gaps.length < 3) return null;
  return (gaps[Math.floor(gaps.length / 2)] * more) / 60000;
}
