// Looks through a reference dish without reloading the page, and counts by keys.
// Without script the links and the fields for sums do the same.
import { forget, startCounting } from "./counting.js";

const { cells, at, key } = JSON.parse(document.getElementById("training-dish").textContent);
const box = document.querySelector("[data-looks]");
const image = box.querySelector("[data-look]");
// Addresses of looks end in the cell and the part.
const base = new URL("../", image.src).href;
const looks = cells.flatMap(([cell, parts]) => (
  Array.from({ length: parts }, (_, part) => ({ cell, part: part + 1, parts }))
));
const fetched = new Map();
let place = at;

function address({ cell, part }) {
  return `${base}${cell}/${part}.png`;
}

// Pictures are not kept by the browser, so the next one is fetched ahead and held here.
function picture(number) {
  if (!fetched.has(number)) {
    fetched.set(number, fetch(address(looks[number])).then(async (answer) => {
      if (!answer.ok) throw new Error(String(answer.status));
      return URL.createObjectURL(await answer.blob());
    }).catch((problem) => {
      fetched.delete(number);
      throw problem;
    }));
  }
  return fetched.get(number);
}

function forgetFar() {
  for (const [number, held] of fetched) {
    if (Math.abs(number - place) > 4) {
      fetched.delete(number);
      held.then(URL.revokeObjectURL, () => {});
    }
  }
}

function tell({ cell, part, parts }) {
  box.querySelector("[data-cell]").textContent = `Cell ${cell}`;
  box.querySelector("[data-part]").textContent = parts > 1 ? `, part ${part} of ${parts}` : "";
  box.querySelector("[data-turn]").textContent = `look ${place + 1} of ${looks.length}`;
  image.alt = `Field of view in cell ${cell}${parts > 1 ? `, part ${part}` : ""}`;
  document.querySelector(".small-dish .here")?.classList.remove("here");
  document.querySelector(`[data-square="${cell}"]`)?.classList.add("here");
  for (const link of box.querySelectorAll("[data-step]")) {
    const next = place + Number(link.dataset.step);
    if (looks[next]) link.href = `?at=${next}`;
    else link.removeAttribute("href");
  }
}

async function go(number) {
  if (!looks[number] || number === place) return;
  place = number;
  tell(looks[number]);
  image.dataset.waits = "yes";
  try {
    const shown = await picture(number);
    if (place !== number) return;
    image.src = shown;
    delete image.dataset.waits;
    history.replaceState(null, "", `?at=${number}`);
    forgetFar();
    if (looks[number + 1]) picture(number + 1).catch(() => {});
  } catch {
    if (place !== number) return;
    // The picture's own address shows the browser's sign that it did not come.
    image.src = address(looks[number]);
    delete image.dataset.waits;
  }
}

for (const link of box.querySelectorAll("[data-step]")) {
  link.addEventListener("click", (press) => {
    press.preventDefault();
    go(place + Number(link.dataset.step));
  });
}

let touchedAt = null;
image.addEventListener("pointerdown", (touch) => { touchedAt = touch.clientX; });
image.addEventListener("pointerup", (touch) => {
  const moved = touch.clientX - touchedAt;
  if (touchedAt !== null && Math.abs(moved) > 60) go(place + (moved < 0 ? 1 : -1));
  touchedAt = null;
});
image.addEventListener("dragstart", (drag) => drag.preventDefault());

document.addEventListener("keydown", (press) => {
  if (press.target.closest("input, textarea, select") || press.ctrlKey || press.metaKey || press.altKey) return;
  if (press.key === "ArrowRight") go(place + 1);
  else if (press.key === "ArrowLeft") go(place - 1);
  else return;
  press.preventDefault();
});

if (looks[place + 1]) picture(place + 1).catch(() => {});
const form = document.querySelector("[data-counts]");
if (form) {
  const where = startCounting(form, key, () => place);
  if (where !== null && !location.search) go(where);
} else {
  forget(key);
}
