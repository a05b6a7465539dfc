// Colours for the dim room, and the offer to install.

const PALETTES = ["dark", "red", "light"];

// Put on the colours that this device keeps; unless a person chose, those usual for the
// view: dark at the bench, light in the sun.
export async function dress(store, usual = PALETTES[0]) {
  const palette = (await store.setting("palette")) ?? usual;
  document.documentElement.dataset.theme = palette === "light" ? "light" : "dark";
  document.documentElement.dataset.palette = palette;
  const button = document.getElementById("palette");
  const next = PALETTES[(PALETTES.indexOf(palette) + 1) % PALETTES.length];
  button.textContent = `Colours: ${palette}`;
  button.dataset.next = next;
}

export function watchPalette(store) {
  document.getElementById("palette").addEventListener("click", async ({ currentTarget }) => {
    await store.keepSetting("palette", currentTarget.dataset.next);
    await dress(store);
  });
}

// Offer to install where the browser can; elsewhere the unsent page says how.
export function offerInstall(status) {
  const button = document.getElementById("install");
  let asked = null;
  addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    asked = event;
    button.hidden = false;
  });
  addEventListener("appinstalled", () => {
    button.hidden = true;
    status.say("The bench is installed on this device.");
  });
  button.addEventListener("click", async () => {
    await asked?.prompt();
    button.hidden = true;
  });
}
