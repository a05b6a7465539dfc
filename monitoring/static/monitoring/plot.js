// Plots of one number against another: points and lines, no time axis.
// <div class="chart plot" data-plot="id of a json_script" data-plotly="address"></div>
import { colour, inPageColours, loadPlotly, saveText, whenNear } from "./plotly-page.js";

function themed(figure) {
  const { data, layout } = structuredClone(figure);
  for (const trace of data) {
    const tone = colour(trace.meta.tone);
    if (trace.marker) trace.marker.color = tone;
    if (trace.line) trace.line.color = tone;
  }
  for (const shape of layout.shapes ?? []) shape.line.color = colour("ink");
  return { data, layout: inPageColours(layout) };
}

async function draw(box) {
  const Plotly = await loadPlotly(box.dataset.plotly);
  const { data, layout } = themed(JSON.parse(document.getElementById(box.dataset.plot).textContent));
  await Plotly.react(box, data, layout, { responsive: true, displayModeBar: false });
  box.dataset.drawn = "yes";
}

function asCsv(box) {
  const { data, layout } = JSON.parse(document.getElementById(box.dataset.plot).textContent);
  const quoted = (text) => `"${String(text).replaceAll('"', '""')}"`;
  const rows = [["series", quoted(layout.xaxis.title.text), quoted(layout.yaxis.title.text)]];
  for (const trace of data) {
    trace.x.forEach((x, i) => rows.push([quoted(trace.name), x, trace.y[i] ?? ""]));
  }
  return rows.map((row) => row.join(",")).join("\n");
}

function save(box, kind) {
  const name = box.dataset.name || "plot";
  if (kind === "CSV") saveText(`${name}.csv`, asCsv(box));
  else window.Plotly.downloadImage(box, { format: kind.toLowerCase(), filename: name });
}

function addButtons(box) {
  const bar = document.createElement("div");
  bar.className = "actions";
  for (const kind of ["PNG", "SVG", "CSV"]) {
    const button = document.createElement("button");
    Object.assign(button, { type: "button", className: "plain", textContent: `Save as ${kind}` });
    button.addEventListener("click", () => save(box, kind));
    bar.append(button);
  }
  box.after(bar);
}

whenNear(".plot[data-plot]", draw, addButtons);
