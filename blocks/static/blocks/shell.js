// What every page does: the choice between light and dark, forms that send themselves,
// and tables that can be read on a phone and scrolled by keyboard.
const root = document.documentElement;
const button = document.getElementById("theme");

function isDark() {
  if (root.dataset.theme) return root.dataset.theme === "dark";
  return matchMedia("(prefers-color-scheme: dark)").matches;
}

button?.addEventListener("click", () => {
  const theme = isDark() ? "light" : "dark";
  root.dataset.theme = theme;
  const secure = location.protocol === "https:" ? "; Secure" : "";
  document.cookie = `theme=${theme}; Path=/; Max-Age=31536000; SameSite=Lax${secure}`;
  document.dispatchEvent(new CustomEvent("theme"));
});

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  if (!root.dataset.theme) document.dispatchEvent(new CustomEvent("theme"));
});

// A choice of what to look at needs no button where there is script.
for (const select of document.querySelectorAll("select[data-submit]")) {
  select.addEventListener("change", () => select.form.requestSubmit());
}

// On a phone a table marked `stack` shows each row as a list: a cell says which column
// it is of.
function label(table) {
  const heads = [...table.querySelectorAll("thead th")].map((head) =>
    head.querySelector(".unseen") ? "" : head.textContent.trim());
  for (const row of table.querySelectorAll("tbody tr")) {
    const cells = [...row.children];
    if (cells.length !== heads.length) continue;
    cells.forEach((cell, i) => { cell.dataset.label = heads[i]; });
  }
  table.classList.add("labelled");
}

function nameOf(wrap) {
  const caption = wrap.querySelector("caption");
  if (caption) return caption.textContent.trim();
  let before = wrap;
  while (before && !/^H[1-3]$/.test(before.tagName)) {
    before = before.previousElementSibling ?? before.parentElement;
  }
  return before?.textContent.trim() ?? "Table";
}

const widths = new ResizeObserver((entries) => {
  for (const { target } of entries) {
    if (target.scrollWidth > target.clientWidth) {
      const told = { tabindex: "0", role: "region", "aria-label": nameOf(target) };
      for (const [name, value] of Object.entries(told)) target.setAttribute(name, value);
    } else {
      for (const name of ["tabindex", "role", "aria-label"]) target.removeAttribute(name);
    }
  }
});

function watchTables(within) {
  for (const table of within.querySelectorAll("table.stack")) label(table);
  for (const wrap of within.querySelectorAll(".table-wrap")) widths.observe(wrap);
}

watchTables(document);
document.addEventListener("htmx:load", (event) => watchTables(event.detail.elt));
