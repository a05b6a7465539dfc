// Numbers and spans of time as a person says them.

export const many = (number, one, more = `${one}s`) =>
  `${number.toLocaleString("en")} ${number === 1 ? one : more}`;

// The span since `at` in words; "" where the clock was set back and it cannot be told.
export function age(at, now) {
  const minutes = Math.floor((now - new Date(at)) / 60e3);
  if (minutes < -1) return "";
  if (minutes < 1) return "less than a minute";
  if (minutes < 60) return `${minutes} min`;
  if (minutes < 48 * 60) return `${Math.floor(minutes / 60)} h`;
  return many(Math.floor(minutes / 1440), "day");
}
