// One block with its bags: circles whose area stands for what was washed off each.
// <div class="map" id="block-map" data-library="..." data-worker="..." data-states="id">
const box = document.getElementById("block-map");
const page = JSON.parse(document.getElementById(box.dataset.states).textContent);
const LARGEST_PX = 26;

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

function points() {
  const most = Math.max(...page.bags.map((bag) => bag.washed_off ?? 0), 1);
  return {
    type: "FeatureCollection",
    features: page.bags.map((bag) => ({
      type: "Feature",
      geometry: { type: "Point", coordinates: [bag.lon, bag.lat] },
      properties: {
        radius: bag.washed_off === null ? 4 : Math.max(3, LARGEST_PX * Math.sqrt(bag.washed_off / most)),
        known: bag.washed_off !== null,
        label: `Bag ${bag.code}${bag.position ? `, ${bag.position}` : ""}: ` +
          (bag.washed_off === null ? "not counted" : `${Math.round(bag.washed_off)} ${page.organism} washed off per ${page.unit}`),
      },
    })),
  };
}

function style() {
  return {
    version: 8,
    sources: {
      block: { type: "geojson", data: { type: "Feature", properties: {}, geometry: JSON.parse(page.boundary) } },
      bags: { type: "geojson", data: points() },
    },
    layers: [
      { id: "ground", type: "background", paint: { "background-color": colour("wash") } },
      { id: "block", type: "fill", source: "block", paint: { "fill-color": colour("panel") } },
      { id: "edge", type: "line", source: "block", paint: { "line-color": colour("ink"), "line-width": 1.5 } },
      { id: "bags", type: "circle", source: "bags",
        paint: {
          "circle-radius": ["get", "radius"],
          "circle-color": colour("rust"),
          "circle-opacity": ["case", ["get", "known"], 0.55, 0],
          "circle-stroke-color": colour("rust"),
          "circle-stroke-width": 1.5,
        } },
    ],
  };
}

async function draw() {
  const { default: library, ...named } = await import(box.dataset.library);
  const { Map: MapView, NavigationControl, Popup, setWorkerUrl } = named.Map ? named : library;
  setWorkerUrl?.(box.dataset.worker);
  const map = new MapView({
    container: box,
    style: style(),
    bounds: page.bounds,
    fitBoundsOptions: { padding: 28 },
    attributionControl: false,
    dragRotate: false,
  });
  map.addControl(new NavigationControl({ showCompass: false }));
  const popup = new Popup({ closeButton: false });
  map.on("click", "bags", (event) => {
    const [found] = event.features;
    popup.setLngLat(found.geometry.coordinates).setText(found.properties.label).addTo(map);
  });
  map.on("idle", () => { box.dataset.drawn = "yes"; });
  document.addEventListener("theme", () => map.setStyle(style()));
}

new IntersectionObserver((entries, watcher) => {
  if (!entries.some((entry) => entry.isIntersecting)) return;
  watcher.disconnect();
  draw();
}, { rootMargin: "100px" }).observe(box);
