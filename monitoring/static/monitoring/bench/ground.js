// Distances and directions on the ground between two places of longitude and latitude.
// On a sphere of the Earth's mean radius, by the haversine formula: within 0.6 % of the
// ellipsoid, which is less than a phone's own error.

const MEAN_RADIUS_M = 6_371_008.8; // IUGG
const WINDS = ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"];
const radians = (degrees) => (degrees * Math.PI) / 180;

export function distanceM([lon1, lat1], [lon2, lat2]) {
  const [a, b] = [radians(lat1), radians(lat2)];
  const half = Math.sin((b - a) / 2) ** 2 + Math.cos(a) * Math.cos(b) * Math.sin(radians(lon2 - lon1) / 2) ** 2;
  return 2 * MEAN_RADIUS_M * Math.asin(Math.min(1, Math.sqrt(half)));
}

// Degrees from north by east, at the first place.
export function bearing([lon1, lat1], [lon2, lat2]) {
  const [a, b, turn] = [radians(lat1), radians(lat2), radians(lon2 - lon1)];
  const east = Math.sin(turn) * Math.cos(b);
  const north = Math.cos(a) * Math.sin(b) - Math.sin(a) * Math.cos(b) * Math.cos(turn);
  return ((Math.atan2(east, north) * 180) / Math.PI + 360) % 360;
}

export const wind = (degrees) => WINDS[Math.round(degrees / 45) % 8];

export function metres(distance) {
  if (distance < 1000) return `${Math.round(distance)} m`;
  return `${(distance / 1000).toLocaleString("en", { maximumFractionDigits: distance < 10_000 ? 1 : 0 })} km`;
}

// "38 m north-east", or that one is there, as far as the phone can tell.
export function awayWords(from, accuracy, to) {
  const away = distanceM(from, to);
  if (away <= Math.max(3, accuracy ?? 0)) return `here, within ${metres(Math.max(3, accuracy ?? 0))}`;
  return `${metres(away)} ${wind(bearing(from, to))}`;
}
