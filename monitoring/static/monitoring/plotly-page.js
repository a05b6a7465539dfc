// What every chart shares: the library, fetched when first wanted, and the page's colours.
let loading = null;

export function loadPlotly(address) {
  loading ??= new Promise((resolve, reject) => {
    const script = document.createElement("script");
    script.src = address;
    script.onload = () => resolve(window.Plotly);
    script.onerror = reject;
    document.head.append(script);
  });
  return loading;
}

export function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

export function inPageColours(layout) {
  const axis = { gridcolor: colour("hairline"), linecolor: colour("line"), zerolinecolor: colour("line") };
  for (const key of Object.keys(layout)) {
    if (/^[xy]axis/.test(key)) Object.assign(layout[key], axis);
  }
  return Object.assign(layout, {
    paper_bgcolor: colour("paper"),
    plot_bgcolor: colour("paper"),
    font: { family: colour("sans") || "sans-serif", size: 13, color: colour("ink") },
    hoverlabel: { bgcolor: colour("panel"), font: { color: colour("ink") }, bordercolor: colour("line") },
  });
}

export function saveText(name, text) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
  link.download = name;
  link.click();
  URL.revokeObjectURL(link.href);
}

// Draws a box when it comes near the screen, and again when theme or medium change.
export function whenNear(selector, draw, after) {
  const near = new IntersectionObserver((entries) => {
    for (const entry of entries) {
      if (!entry.isIntersecting) continue;
      near.unobserve(entry.target);
      draw(entry.target).then(() => after(entry.target));
    }
  }, { rootMargin: "200px" });
  const watch = (root) => root.querySelectorAll(selector).forEach((box) => near.observe(box));
  watch(document);
  const redraw = () => document.querySelectorAll(`${selector}[data-drawn="yes"]`).forEach((box) => draw(box));
  document.addEventListener("theme", redraw);
  matchMedia("print").addEventListener("change", redraw);
  return watch;
}
