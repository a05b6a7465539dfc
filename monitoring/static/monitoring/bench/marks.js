// Each organism's mark: a shape and a colour by its place among those counted.

const SVG = "http://www.w3.org/2000/svg";
const SHAPES = [
  "M2 10a8 8 0 1 0 16 0a8 8 0 1 0-16 0z", // circle
  "M10 1l9 9-9 9-9-9z", // diamond
  "M10 2l9 16H1z", // triangle
  "M3 3h14v14H3z", // square
  "M7 2h6v5h5v6h-5v5H7v-5H2V7h5z", // cross
  "M10 1l2.6 6 6.4.6-4.9 4.2 1.5 6.3L10 14.8l-5.6 3.3 1.5-6.3L1 7.6 7.4 7z", // star
  "M1 2h18l-9 16z", // triangle on its tip
  "M2 10a8 8 0 1 0 16 0a8 8 0 1 0-16 0zM6.5 10a3.5 3.5 0 1 1 7 0a3.5 3.5 0 1 1-7 0z", // ring
];

export function mark(slot) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", "0 0 20 20");
  svg.setAttribute("class", `mark mark-${(slot % SHAPES.length) + 1}`);
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", SHAPES[slot % SHAPES.length]);
  path.setAttribute("fill-rule", "evenodd");
  svg.append(path);
  return svg;
}

// Which key each organism of a reading has: its own place in the laboratory's list where that is
// among the first eight, else the first free one, so that a key means the same in each reading.
export function slotsOf(kit, started) {
  const most = SHAPES.length, slots = new Map(), free = new Set(SHAPES.keys());
  const place = new Map(kit.organisms.map((one, i) => [one.id, i]));
  const counted = started.organisms.map((one) => one.id).sort((a, b) => (place.get(a) ?? 99) - (place.get(b) ?? 99));
  for (const id of counted) {
    const own = place.get(id) ?? most;
    if (own >= most) continue;
    slots.set(id, own);
    free.delete(own);
  }
  for (const id of counted) {
    if (slots.has(id) || !free.size) continue;
    const [first] = free;
    slots.set(id, first);
    free.delete(first);
  }
  return slots;
}
