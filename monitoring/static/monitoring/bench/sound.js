// The page's one set of tones: unlocked by the key that starts, and kept from view to view.
import { prefs } from "./prefs.js";
import { makeTones } from "./tones.js";

export const tones = makeTones(prefs);
