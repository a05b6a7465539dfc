// Counts by keys and touch into the fields of a form; kept on the device until handed in.
const LONGEST_PAST = 5000;

function kept(key) {
  try {
    return JSON.parse(localStorage.getItem(key)) ?? null;
  } catch {
    return null;
  }
}

// What was handed in is kept by the site, and by the device no longer.
export function forget(key) {
  try {
    localStorage.removeItem(key);
  } catch {
    // Where nothing may be kept, nothing was.
  }
}

// Gives the look at which counting stopped, or null where nothing was kept.
export function startCounting(form, key, place) {
  const buttons = [...form.querySelectorAll("[data-hit]")];
  const fields = new Map(buttons.map((button) => [button.dataset.hit, form.elements[button.dataset.hit]]));
  const said = form.querySelector("[data-said]");
  const undo = form.querySelector("[data-undo]");
  const before = kept(key);
  const past = before?.past ?? [];

  // The keys carry the sums, so that the fields need not be in view.
  function show() {
    for (const button of buttons) button.querySelector("[data-sum]").textContent = fields.get(button.dataset.hit).value;
    undo.disabled = past.length === 0;
  }

  function keep() {
    show();
    const sums = Object.fromEntries([...fields].map(([name, field]) => [name, field.value]));
    try {
      localStorage.setItem(key, JSON.stringify({ sums, past: past.slice(-LONGEST_PAST), at: place() }));
    } catch {
      said.textContent = "This browser keeps nothing: hand in before you close the page.";
    }
  }

  const label = (name) => form.querySelector(`label[for="${fields.get(name).id}"]`).textContent;

  function add(name, number) {
    const field = fields.get(name);
    field.value = String(Math.max((Number.parseInt(field.value, 10) || 0) + number, 0));
    said.textContent = number > 0 ? `${label(name)} ${field.value}` : `Taken back: ${label(name)} ${field.value}`;
    keep();
  }

  function hit(name) {
    past.push(name);
    add(name, 1);
  }

  function takeBack() {
    const name = past.pop();
    if (fields.has(name)) add(name, -1);
    else said.textContent = "Nothing to take back.";
  }

  for (const button of buttons) {
    button.addEventListener("click", () => hit(button.dataset.hit));
  }
  form.querySelector("[data-hits]").hidden = false;
  undo.addEventListener("click", takeBack);
  form.querySelector("[data-keys]").hidden = false;
  form.addEventListener("input", keep);

  document.addEventListener("keydown", (press) => {
    if (press.target.closest("input, textarea, select") || press.ctrlKey || press.metaKey || press.altKey) return;
    const button = /^[1-9]$/.test(press.key) ? buttons[Number(press.key) - 1] : null;
    if (button && !press.repeat) hit(button.dataset.hit);
    else if (press.key === "Backspace") takeBack();
    else if (!button) return;
    press.preventDefault();
  });

  for (const [name, sum] of Object.entries(before?.sums ?? {})) {
    const field = fields.get(name);
    if (field && field.value === "") field.value = sum;
  }
  show();
  return Number.isInteger(before?.at) ? before.at : null;
}
