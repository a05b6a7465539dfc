// Read a label with the camera, where the browser reads codes by itself.
const form = document.getElementById("scan");
const field = document.getElementById("code");
const button = document.getElementById("camera");
const says = document.getElementById("camera-says");
const view = document.getElementById("view");
const BETWEEN_LOOKS_MS = 150;
let stream = null;

function stop() {
  stream?.getTracks().forEach((track) => track.stop());
  stream = null;
  view.hidden = true;
  button.textContent = "Use the camera";
}

async function look(detector) {
  if (!stream) return;
  let found = [];
  try {
    found = view.readyState >= 2 ? await detector.detect(view) : [];
  } catch {
    stop();
    says.textContent = "The camera stopped. Try again, or type the code.";
    return;
  }
  if (found.length && stream) {
    field.value = found[0].rawValue;
    stop();
    says.textContent = "Read. The bag is opened.";
    form.submit();
    return;
  }
  setTimeout(look, BETWEEN_LOOKS_MS, detector);
}

async function start() {
  if (stream) {
    stop();
    says.textContent = "The camera is off.";
    return;
  }
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  } catch (refused) {
    says.textContent = refused.name === "NotAllowedError"
      ? "The browser was not allowed to use the camera. Allow it, or type the code."
      : "No camera could be opened. Type the code, or use a hand scanner.";
    return;
  }
  view.srcObject = stream;
  view.hidden = false;
  button.textContent = "Stop the camera";
  says.textContent = "Hold the label in front of the camera.";
  await view.play();
  look(new BarcodeDetector({ formats: ["qr_code"] }));
}

async function offer() {
  if (!window.isSecureContext || !navigator.mediaDevices?.getUserMedia) {
    says.textContent = "Browsers give the camera to pages over https only, and this one is not. Type the code, or use a hand scanner.";
    return;
  }
  const formats = "BarcodeDetector" in window ? await BarcodeDetector.getSupportedFormats() : [];
  if (!formats.includes("qr_code")) {
    says.textContent = "This browser does not read codes by itself. Open the label with the phone's own camera app, type the code, or use a hand scanner.";
    return;
  }
  says.textContent = "";
  button.hidden = false;
  button.addEventListener("click", start);
}

field.select();
window.addEventListener("pagehide", stop);
offer();
