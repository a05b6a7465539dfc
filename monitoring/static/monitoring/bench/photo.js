// Take a picture, or choose one, and keep it on this device until the server has it.
import { StoreError } from "./append.js";
import { h } from "./elements.js";
import { many } from "./words.js";

// As large as the server keeps it: more would only take longer to send.
const LONGEST_PX = 2560, QUALITY = 0.85;
const NOT_READ = "This browser cannot open that file as a picture. Take a photograph, or choose a JPEG, PNG or WebP.";

// Draw the picture anew, so that neither its size nor the camera's notes go along.
async function shrink(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" }).catch(() => null);
  if (!picture) throw new StoreError(NOT_READ);
  const scale = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
  const canvas = h("canvas", { width: Math.round(picture.width * scale), height: Math.round(picture.height * scale) });
  const pen = canvas.getContext("2d");
  pen.fillStyle = "white";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
  if (!blob) throw new StoreError("The picture is too large for this browser. Take it with fewer pixels.");
  return blob;
}

async function digest(blob) {
  const bytes = new Uint8Array(await crypto.subtle.digest("SHA-256", await blob.arrayBuffer()));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// Keep a picture of a bag, and tell of it; gives its key.
export async function keepPicture(store, bag, file) {
  const blob = await shrink(file);
  const told = { bag, sha256: await digest(blob), size_bytes: blob.size };
  const photo = await store.keepPhoto(blob, told);
  await store.append([{ kind: "photo", payload: { photo, ...told } }]);
  await store.changePhoto(photo, { told: true });
  return photo;
}

async function counted(store, bag) {
  const mine = (await store.photos()).filter((row) => row.bag === bag);
  if (!mine.length) return "";
  const waiting = mine.filter((row) => row.waiting).length, refused = mine.filter((row) => row.refused).length;
  const parts = [waiting && `${waiting} not sent yet`, refused && `${refused} refused by the server (see Unsent)`].filter(Boolean);
  return [`${many(mine.length, "photograph")} from this device`, ...(parts.length ? parts : ["sent"])].join(", ") + ".";
}

// Buttons that open the camera, or let one choose; `bag` is the bag's key.
export function photoButton({ store, bag, words = "Photograph the bag or leaf" }) {
  const says = h("span", { class: "muted photo-says", role: "status" });
  const input = h("input", { type: "file", accept: "image/*", hidden: true });
  const button = h("button", { type: "button", class: "quiet", onclick: () => ask(true) }, words);
  const choose = h("button", { type: "button", class: "plain", onclick: () => ask(false) }, "or choose a picture");
  // With the word "capture" a phone opens its camera at once.
  const ask = (camera) => {
    input.toggleAttribute("capture", camera);
    input.click();
  };
  const tell = async () => { says.textContent = await counted(store, bag); };
  input.addEventListener("change", async () => {
    const [file] = input.files;
    if (!file) return;
    button.disabled = true;
    says.textContent = "Keeping the picture.";
    try {
      await keepPicture(store, bag, file);
      await tell();
    } catch (error) {
      says.textContent = error instanceof StoreError ? error.message : `The picture was NOT kept (${error.name}). Take it again.`;
    }
    input.value = "";
    button.disabled = false;
  });
  tell();
  return h("span", { class: "photo-taking" }, button, choose, input, says);
}
