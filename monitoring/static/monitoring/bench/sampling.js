// Counting a dish in two stages, as monitoring/estimation/dish_sampling.py does it.
// Arrays are aligned: counts and areas (mm2) of the cells looked at, the pilot first.
import { upperT } from "./student.js";

export const PILOT_CELLS = 10;
const FEW_ANIMALS = 150, STEP = 1.25, MOST_SHARE = 0.65;
const USUAL_CELL_K = 2, USUAL_CELLS_WORTH = 4;
const NORMAL_95 = 1.959963984540054;

const sum = (numbers) => numbers.reduce((total, one) => total + one, 0);

function before(one, other) {
  for (let i = 0; i < one.length; i += 1) {
    if (one[i] !== other[i]) return one[i] - other[i];
  }
  return 0;
}

// Random order of cells that the seed alone repeats: sorted by SHA-256 of "seed/name".
export async function cellOrder(names, seed) {
  const text = new TextEncoder();
  const keyed = await Promise.all(names.map(async (name) => {
    const digest = await crypto.subtle.digest("SHA-256", text.encode(`${seed}/${name}`));
    return [new Uint8Array(digest), name];
  }));
  return keyed.sort((one, other) => before(one[0], other[0])).map(([, name]) => name);
}

// A seed that any program can hold exactly: a whole number below 2^31.
export function newSeed() {
  return crypto.getRandomValues(new Uint32Array(1))[0] >>> 1;
}

// Animals per cell, and 1/k of the cells drawn towards that of a usual dish.
function meanAndClumping(counts, areas) {
  const cells = counts.length, seen = sum(counts);
  // Half an animal more keeps a pilot without animals from promising anything.
  const mean = (seen + 0.5) / cells;
  const perMm2 = seen / sum(areas);
  const spread = sum(counts.map((y, i) => (y - perMm2 * areas[i]) ** 2)) / (cells - 1);
  const inverseK = Math.max((spread - mean) / mean ** 2, 0);
  const own = cells - 1;
  const drawn = (own * inverseK + USUAL_CELLS_WORTH / USUAL_CELL_K) / (own + USUAL_CELLS_WORTH);
  return [mean, drawn];
}

// The numbers of cells that can be called for; the last is all of them.
function steps(pilot, cellsInDish) {
  const found = [];
  for (let cells = 2 * pilot; cells <= MOST_SHARE * cellsInDish; cells *= STEP) {
    found.push(Math.ceil(cells));
  }
  return [...found, cellsInDish];
}

// How many cells in all a pilot calls for, itself included.
export function calledFor(counts, areas, cellsInDish, cv) {
  const [mean, inverseK] = meanAndClumping(counts, areas);
  const all = steps(counts.length, cellsInDish);
  if (mean * cellsInDish < FEW_ANIMALS) return cellsInDish;
  const unlimited = (1 / mean + inverseK) / cv ** 2;
  const wanted = unlimited / (1 + unlimited / cellsInDish);
  return all.find((cells) => cells >= wanted) ?? cellsInDish;
}

// Standard error over total to expect of so many cells, as the pilot tells it.
export function expectedCv(counts, areas, cellsInDish, cells) {
  const [mean, inverseK] = meanAndClumping(counts, areas);
  return Math.sqrt((1 / mean + inverseK) * Math.max(1 / cells - 1 / cellsInDish, 0));
}

// Ratio to area with finite-population correction: Cochran 1977, Sampling Techniques, ch. 6.
function ratio(counts, areas, dish) {
  const cells = counts.length;
  const perMm2 = sum(counts) / sum(areas);
  const spread = sum(counts.map((y, i) => (y - perMm2 * areas[i]) ** 2)) / (cells - 1);
  const left = (1 - cells / dish.cells) * spread / cells;
  return { total: perMm2 * dish.area_mm2, error: dish.area_mm2 / (sum(areas) / cells) * Math.sqrt(left) };
}

// The pilot's animals as seen, the further cells speaking for the rest of the dish.
function twoStages(counts, areas, dish, pilot) {
  const own = sum(counts.slice(0, pilot)), ownMm2 = sum(areas.slice(0, pilot));
  const perMm2 = (sum(counts) - own) / (sum(areas) - ownMm2);
  return own + (dish.area_mm2 - ownMm2) * perMm2;
}

function interval(total, error, counts, share) {
  const tail = 0.025, seen = sum(counts);
  // No animal in the cells looked at: the limit of a Poisson count of none.
  if (total <= 0) return { low: 0, high: -Math.log(tail) * (1 / share - 1) };
  const reach = upperT(tail, counts.length - 1) * error / total;
  const high = reach < Math.log(1e12) ? total * Math.exp(reach) : Infinity;
  return { low: Math.max(total * Math.exp(-reach), seen), high };
}

// Animals in the dish from some of its cells, with an interval of 95 in 100; the server
// averages over pilots besides. dish: {area_mm2, cells}. Null for fewer than two cells.
export function dishTotal(counts, areas, dish, pilot) {
  if (counts.length < 2) return null;
  if (counts.length >= dish.cells) return wholeDish(sum(counts));
  const share = Math.min(sum(areas) / dish.area_mm2, 1);
  const spread = ratio(counts, areas, dish);
  const total = pilot && counts.length > pilot ? twoStages(counts, areas, dish, pilot) : spread.total;
  return { total, error: spread.error, share, ...interval(total, spread.error, counts, share) };
}

// All of the dish looked at: what was seen is what is there.
export function wholeDish(count) {
  return { total: count, error: 0, share: 1, low: count, high: count };
}

// Per leaf, shoot or bud of a bag. Three errors add as logarithms, as animals_of_bag in
// monitoring/estimation has them: of the cells, of the recovery between runs, and of
// which animals one wash happened to bring off (binomial), so that a whole dish too says
// something uncertain of its leaf. Nothing seen: the limit of a Poisson count of none.
export function perUnit(found, units, recovery) {
  const seen = found.total * found.share, median = recovery.median;
  if (found.total <= 0) {
    return { total: 0, low: 0, high: -Math.log(0.025) / found.share / recovery.low / units };
  }
  const animals = found.total / median;
  const washed = NORMAL_95 * Math.sqrt((1 - median) / found.total);
  const apart = (one, other) => Math.hypot(Math.log(one), Math.log(other), washed);
  const down = apart(found.total / Math.max(found.low, 1e-9), recovery.high / median);
  const up = apart(found.high / found.total, median / recovery.low);
  const low = Math.max(animals * Math.exp(-down), Math.min(seen, found.total));
  return { total: animals / units, low: low / units, high: animals * Math.exp(up) / units };
}
