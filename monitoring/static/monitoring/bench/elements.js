// Make elements without markup in strings: what people typed is never taken for markup.

// h("p", {class: "note", role: "status", onclick: f, hidden: true}, "words", child, ...)
export function h(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on") && typeof value === "function") made.addEventListener(name.slice(2), value);
    else if (name in made && typeof value !== "string") made[name] = value;
    else made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}
