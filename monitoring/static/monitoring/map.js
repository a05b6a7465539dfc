// The farm group's blocks on a map: tiles bring shapes, the page brings states.
// <div class="map" id="blocks-map" data-library="..." data-worker="..." data-states="id" data-refresh="address">
const box = document.getElementById("blocks-map");
const page = JSON.parse(document.getElementById(box.dataset.states).textContent);
const { default: library, ...named } = await import(box.dataset.library);
const { Map: MapView, NavigationControl, Popup, setWorkerUrl } = named.Map ? named : library;
setWorkerUrl?.(box.dataset.worker);

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

function hatch() {
  const size = 8;
  const canvas = new OffscreenCanvas(size, size);
  const pen = canvas.getContext("2d");
  pen.strokeStyle = colour("panel");
  pen.lineWidth = 2;
  for (const shift of [-size, 0, size]) {
    pen.beginPath();
    pen.moveTo(shift, size);
    pen.lineTo(shift + size, 0);
    pen.stroke();
  }
  return pen.getImageData(0, 0, size, size);
}

const state = (name) => ["feature-state", name];

function style() {
  const fill = ["case", ["==", state("class"), null], "rgba(0,0,0,0)",
    ["match", state("class"), ...page.ramp.flatMap((tone, i) => [i, tone]), "rgba(0,0,0,0)"]];
  return {
    version: 8,
    sources: {
      blocks: { type: "vector", tiles: [location.origin + page.tiles], promoteId: "uuid", maxzoom: 16 },
    },
    layers: [
      { id: "ground", type: "background", paint: { "background-color": colour("wash") } },
      { id: "fill", type: "fill", source: "blocks", "source-layer": "blocks", paint: { "fill-color": fill } },
      { id: "edge", type: "line", source: "blocks", "source-layer": "blocks",
        paint: { "line-color": colour("ink"), "line-width": 1.2 } },
    ],
  };
}

const map = new MapView({
  container: box,
  style: style(),
  bounds: page.bounds ?? [-10, 35, 20, 55],
  fitBoundsOptions: { padding: 24, maxZoom: 16 },
  attributionControl: false,
  dragRotate: false,
});
map.addControl(new NavigationControl({ showCompass: false }));
// The hatching is a picture, which must be there before the layer that uses it.
map.on("style.load", () => {
  map.addImage("hatch", hatch());
  map.addLayer({
    id: "doubt", type: "fill", source: "blocks", "source-layer": "blocks",
    paint: {
      "fill-pattern": "hatch",
      "fill-opacity": ["case", ["boolean", state("doubtful"), false], 0.9, 0],
    },
  }, "edge");
  show(page.blocks);
});

let labels = new Map();

function show(blocks) {
  labels = new Map(blocks.map((block) => [block.uuid, block.label]));
  for (const block of blocks) {
    map.setFeatureState({ source: "blocks", sourceLayer: "blocks", id: block.uuid },
      { class: block.class, doubtful: block.doubtful });
  }
  box.dataset.shown = JSON.stringify(blocks.map((block) => [block.uuid, block.class]));
}

// A new style, not a changed one: the hatching has the theme's colour too.
document.addEventListener("theme", () => map.setStyle(style(), { diff: false }));

map.on("click", "fill", (event) => {
  location.href = `${page.blockUrl}${event.features[0].id}/`;
});
const popup = new Popup({ closeButton: false, closeOnClick: false });
map.on("mousemove", "fill", (event) => {
  map.getCanvas().style.cursor = "pointer";
  popup.setLngLat(event.lngLat).setText(labels.get(event.features[0].id) ?? "").addTo(map);
});
map.on("mouseleave", "fill", () => {
  map.getCanvas().style.cursor = "";
  popup.remove();
});

// The list beside the map asks again while something is under way; so does the map.
document.addEventListener("htmx:afterSwap", async () => {
  const answer = await fetch(box.dataset.refresh, { headers: { Accept: "application/json" } });
  if (!answer.ok) return;
  page.blocks = (await answer.json()).blocks;
  show(page.blocks);
});
