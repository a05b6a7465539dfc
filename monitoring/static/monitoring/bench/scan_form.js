// A field for a hand scanner or fingers, and the camera where the browser reads codes.
import { offerCamera } from "./camera.js";
import { h } from "./elements.js";

// `take` is given what was scanned or typed; the field is empty for the next one.
export function scanForm({ id, label, words, take }) {
  const input = h("input", { type: "text", id, autocomplete: "off", autocapitalize: "characters", spellcheck: "false", enterkeyhint: "done" });
  const give = (typed) => {
    input.value = "";
    return take(typed);
  };
  const form = h("form", { class: "inline-form scan-form", onsubmit: (event) => { event.preventDefault(); give(input.value); } },
    h("div", { class: "field" }, h("label", { for: id }, label), input), h("button", { class: "quiet" }, words));
  offerCamera(form, give);
  return form;
}
