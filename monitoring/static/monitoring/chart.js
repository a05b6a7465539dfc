// Plotly charts: drawn when near the screen, in the page's own colours.
// <div class="chart" data-figure="id of a json_script" data-plotly="address"></div>
import { colour, inPageColours, loadPlotly, saveText, whenNear } from "./plotly-page.js";

const BUTTONS = ["PNG", "SVG", "CSV"];

function themed(figure) {
  const { data, layout } = structuredClone(figure);
  for (const trace of data) {
    const tone = colour(trace.meta.tone);
    trace.marker.color = tone;
    trace.line.color = tone;
    trace.error_y.color = tone;
  }
  for (const shape of layout.shapes) shape.line.color = colour("ink");
  return { data, layout: inPageColours(layout) };
}

function setScale(layout, log) {
  for (const key of Object.keys(layout)) {
    if (!/^yaxis/.test(key)) continue;
    layout[key].type = log ? "log" : "linear";
    layout[key].automargin = true;
    if (log) {
      delete layout[key].range;
      Object.assign(layout[key], { tickformat: "~g", nticks: 5 });
    }
    const axis = key.replace("axis", "");
    for (const note of layout.annotations) {
      if (note.yref === axis) note.y = log ? Math.log10(note.y) : note.y;
    }
  }
}

// On a narrow screen there is no room for every growth stage along the foot.
function thinStages(layout, data, width) {
  const days = data.flatMap((trace) => trace.x).map((day) => Date.parse(day));
  const first = Math.min(...days);
  const perPixel = (Math.max(...days) - first) / (width - 100) || 1;
  let last = -Infinity;
  layout.annotations = layout.annotations.filter((note) => {
    if (note.name !== "stage") return true;
    const at = (Date.parse(note.x) - first) / perPixel;
    if (at - last < 22) return false;
    last = at;
    return true;
  });
}

async function draw(box) {
  const Plotly = await loadPlotly(box.dataset.plotly);
  const source = document.getElementById(box.dataset.figure);
  const figure = themed(JSON.parse(source.textContent));
  setScale(figure.layout, box.dataset.log === "yes");
  thinStages(figure.layout, figure.data, box.clientWidth);
  await Plotly.react(box, figure.data, figure.layout, { responsive: true, displayModeBar: false });
  box.dataset.drawn = "yes";
}

function asCsv(box) {
  const rows = [["series", "date", "median", "low", "high"]];
  const { data } = JSON.parse(document.getElementById(box.dataset.figure).textContent);
  for (const trace of data) {
    trace.x.forEach((day, i) => {
      const y = trace.y[i];
      if (y === null) return;
      const { array, arrayminus } = trace.error_y;
      rows.push([trace.name, day, y, arrayminus ? y - arrayminus[i] : "", array ? y + array[i] : ""]);
    });
  }
  return rows.map((row) => row.join(",")).join("\n");
}

function save(box, kind) {
  const name = box.dataset.name || "densities";
  if (kind !== "CSV") {
    window.Plotly.downloadImage(box, { format: kind.toLowerCase(), filename: name });
    return;
  }
  saveText(`${name}.csv`, asCsv(box));
}

function addButtons(box) {
  const bar = document.createElement("div");
  bar.className = "actions";
  const scale = document.createElement("button");
  const name = () => (box.dataset.log === "yes" ? "Linear axis" : "Log axis");
  Object.assign(scale, { type: "button", className: "quiet", textContent: name() });
  scale.addEventListener("click", () => {
    box.dataset.log = box.dataset.log === "yes" ? "no" : "yes";
    scale.textContent = name();
    draw(box);
  });
  if (!box.dataset.fixed) bar.append(scale);
  for (const kind of BUTTONS) {
    const button = document.createElement("button");
    Object.assign(button, { type: "button", className: "plain", textContent: `Save as ${kind}` });
    button.addEventListener("click", () => save(box, kind));
    bar.append(button);
  }
  box.after(bar);
}

const watch = whenNear(".chart[data-figure]", draw, addButtons);
document.addEventListener("htmx:load", (event) => {
  if (event.detail.elt !== document.body) watch(event.detail.elt);
});
