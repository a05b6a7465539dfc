// Read a label with the camera, where the browser reads codes by itself.
import { h } from "./elements.js";

const BETWEEN_LOOKS_MS = 150;

export async function offerCamera(form, take) {
  const formats = "BarcodeDetector" in window ? await BarcodeDetector.getSupportedFormats().catch(() => []) : [];
  if (!formats.includes("qr_code") || !navigator.mediaDevices?.getUserMedia) return;
  const picture = h("video", { class: "camera", muted: true, playsinline: "", hidden: true });
  const says = h("p", { class: "muted", role: "status" });
  const button = h("button", { type: "button", class: "quiet" }, "Use the camera");
  const detector = new BarcodeDetector({ formats: ["qr_code"] });
  let stream = null;

  function stop(words = "") {
    stream?.getTracks().forEach((track) => track.stop());
    stream = null;
    picture.hidden = true;
    button.textContent = "Use the camera";
    says.textContent = words;
  }

  async function look() {
    if (!stream) return;
    const found = picture.readyState >= 2 ? await detector.detect(picture).catch(() => null) : [];
    if (!stream) return;
    if (!found) stop("The camera stopped. Try again, or type the label.");
    else if (found.length) {
      stop();
      take(found[0].rawValue);
    } else setTimeout(look, BETWEEN_LOOKS_MS);
  }

  button.addEventListener("click", async () => {
    if (stream) return stop();
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } }).catch(() => null);
    if (!stream) return stop("No camera could be opened. Allow it, or type the label.");
    picture.srcObject = stream;
    picture.hidden = false;
    button.textContent = "Stop the camera";
    says.textContent = "Hold the label in front of the camera.";
    await picture.play();
    return look();
  });
  form.addEventListener("bench:close", () => stop());
  form.append(button);
  form.after(says, picture);
}
