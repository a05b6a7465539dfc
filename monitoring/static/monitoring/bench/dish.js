// The dish as a picture: which cell to look at next, which are done, left and skipped.
// Each state has its own shape, so that nothing hangs on colour.

const SVG = "http://www.w3.org/2000/svg";
const MARGIN = 0.08, INSIDE = 0.96, MOST_LABELS = 24;
let pictures = 0;

function node(name, attributes = {}, text = "") {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.textContent = text;
  return made;
}

const square = (cell, h) => `M${cell.x_mm - h} ${cell.y_mm - h}h${2 * h}v${2 * h}h${-2 * h}z`;
const dot = ([x, y], r) => `M${x - r} ${y}a${r} ${r} 0 1 0 ${2 * r} 0a${r} ${r} 0 1 0 ${-2 * r} 0z`;
const cross = ([x, y], r) => `M${x - r} ${y - r}l${2 * r} ${2 * r}M${x + r} ${y - r}l${-2 * r} ${2 * r}`;
const tick = ([x, y], r) => `M${x - r} ${y}l${r * 0.8} ${r * 0.8}l${r * 1.2} ${-r * 1.7}`;

// A point of the cell inside the rim, where its mark can be seen.
function visible(cell, pitch, radius) {
  const near = (centre) => Math.max(centre - pitch / 2, Math.min(0, centre + pitch / 2));
  const from = [near(cell.x_mm), near(cell.y_mm)];
  for (let share = 1; share > 0; share -= 0.125) {
    const at = [from[0] + share * (cell.x_mm - from[0]), from[1] + share * (cell.y_mm - from[1])];
    if (Math.hypot(...at) < radius * INSIDE) return at;
  }
  return from;
}

function rulers(dish, radius) {
  const group = node("g", { class: "dish-rulers" });
  const pitch = dish.pitch_mm, far = radius * (1 + MARGIN * 0.45);
  const columns = new Map(dish.cells.map((cell) => [cell.column, cell]));
  const rows = new Map(dish.cells.map((cell) => [cell.row, cell]));
  const each = Math.ceil(columns.size / MOST_LABELS);
  const size = Math.min(pitch * each * 0.6, radius * 0.085);
  for (const [column, cell] of columns) {
    if (column % each) continue;
    group.append(node("text", { x: cell.x_mm, y: -far, "font-size": size }, cell.name.replace(/\d+/, "")));
  }
  for (const [row, cell] of rows) {
    if (row % each) continue;
    group.append(node("text", { x: -far, y: cell.y_mm, "font-size": size }, row + 1));
  }
  return group;
}

// Rows are read to and fro: odd rows to the right, even ones back to the left.
export const direction = (row) => (row % 2 ? "right" : "left");

function rowBand(dish, radius, row) {
  const cell = dish.cells.find((one) => one.row === row - 1);
  if (!cell) return "";
  const h = dish.pitch_mm / 2, way = direction(row) === "right" ? 1 : -1;
  const reach = Math.max(Math.sqrt(Math.max(radius ** 2 - cell.y_mm ** 2, 0)) * 0.85, h);
  return {
    band: `M${-radius} ${cell.y_mm - h}h${2 * radius}v${2 * h}h${-2 * radius}z`,
    arrow: `M${-way * reach} ${cell.y_mm}H${way * reach}m${-way * h * 1.4} ${-h * 0.8}l${way * h * 1.4} ${h * 0.8}l${-way * h * 1.4} ${h * 0.8}`,
  };
}

// Draw a dish of the kit. Gives the picture and `mark`, which is cheap to call often.
export function drawDish(dish) {
  const radius = dish.inner_diameter_mm / 2, pitch = dish.pitch_mm, h = pitch / 2;
  const edge = radius * (1 + MARGIN * 2);
  const svg = node("svg", { viewBox: `${-edge} ${-edge} ${2 * edge} ${2 * edge}`, class: "dish", role: "img" });
  pictures += 1;
  const rim = `dish-rim-${pictures}`;
  const clip = node("clipPath", { id: rim });
  clip.append(node("circle", { r: radius }));
  const cells = node("g", { "clip-path": `url(#${rim})` });
  const layer = Object.fromEntries(
    ["band", "done", "grid", "left", "ticks", "skipped", "guide", "arrow", "next"].map((name) => {
      const path = node("path", { class: `dish-${name}`, "vector-effect": "non-scaling-stroke", d: "" });
      cells.append(path);
      return [name, path];
    }),
  );
  layer.grid.setAttribute("d", dish.cells.map((cell) => square(cell, h)).join(""));
  const ring = node("path", { class: "dish-ring", "vector-effect": "non-scaling-stroke", d: "" });
  svg.append(clip, cells, node("circle", { r: radius, class: "dish-rim", "vector-effect": "non-scaling-stroke" }), rulers(dish, radius), ring);
  const byName = new Map(dish.cells.map((cell) => [cell.name, cell]));
  const at = new Map(dish.cells.map((cell) => [cell.name, visible(cell, pitch, radius)]));
  const paths = (names, draw) => [...names].filter((name) => byName.has(name)).map(draw).join("");
  const set = (name, d) => layer[name].setAttribute("d", d);

  function markCells({ next, done, left, skipped, says }) {
    const cell = byName.get(next);
    set("band", "");
    set("arrow", "");
    set("done", paths(done, (name) => square(byName.get(name), h)));
    set("ticks", paths(done, (name) => tick(at.get(name), h * 0.45)));
    set("left", paths(left, (name) => dot(at.get(name), h * 0.4)));
    set("skipped", paths(skipped, (name) => cross(at.get(name), h * 0.6)));
    set("guide", cell ? `M${-edge} ${at.get(next)[1]}H${edge}M${at.get(next)[0]} ${-edge}V${edge}` : "");
    set("next", cell ? square(cell, h) : "");
    ring.setAttribute("d", cell ? dot(at.get(next), Math.max(pitch * 1.1, radius * 0.11)) : "");
    svg.setAttribute("aria-label", says);
  }

  function markRows({ next, done, skipped, says }) {
    const rowOf = (name) => Number(name.slice(4)) - 1;
    const gone = new Set([...done].map(rowOf)), missed = new Set([...skipped].map(rowOf));
    const now = rowBand(dish, radius, rowOf(next ?? "row 0") + 1);
    const inRows = (rows, draw) => dish.cells.filter((cell) => rows.has(cell.row)).map(draw).join("");
    for (const name of ["left", "ticks", "guide", "next"]) set(name, "");
    ring.setAttribute("d", "");
    set("done", inRows(gone, (cell) => square(cell, h)));
    set("skipped", inRows(missed, (cell) => cross(at.get(cell.name), h * 0.6)));
    set("band", now ? now.band : "");
    set("arrow", now ? now.arrow : "");
    svg.setAttribute("aria-label", says);
  }

  return { svg, mark: (state) => (state.pass === "whole" ? markRows(state) : markCells(state)) };
}
