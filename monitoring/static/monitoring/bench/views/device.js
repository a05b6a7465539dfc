// Ask once what this device is called, so that a person finds it again on the site.
import { field } from "../controls.js";
import { h } from "../elements.js";

export function view({ store, root, go, status }) {
  const had = store.device.name;
  const name = h("input", { type: "text", name: "device", required: true, maxlength: "60", autocomplete: "off", value: had });
  async function keep(event) {
    event.preventDefault();
    const written = name.value.trim();
    if (!written) {
      status.notice("Write a name first.");
      name.focus();
      return;
    }
    await store.nameDevice(written);
    go("pick");
    if (!had) dispatchEvent(new Event("hashchange"));
  }
  root.append(
    h("h1", {}, had ? "This device's name" : "What is this device called?"),
    h("form", { onsubmit: keep },
      field("Name of this device", name, "Such as “bench by the window” or “blue phone”. The site lists devices by it, with what they still have to send."),
      h("div", { class: "actions" }, h("button", {}, "Keep the name"))),
  );
  name.focus();
}
