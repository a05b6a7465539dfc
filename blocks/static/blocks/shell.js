// What every page does: the choice between light and dark, and htmx's CSRF token.
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

// A page that shows a chosen value when its form is left and come back to.
for (const select of document.querySelectorAll("select[data-submit]")) {
  select.addEventListener("change", () => select.form.requestSubmit());
}
