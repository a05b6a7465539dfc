// How bags are washed: what the protocol asks, and what departs from it, in the same
// words as monitoring/washing/departures.py.

export const MEASURES = [
  { name: "alcohol_percent", low: "alcohol_low_percent", high: "alcohol_high_percent", label: "Alcohol in the bag, % by volume", unit: "% alcohol", what: "", min: 0, max: 100, required: true },
  { name: "volume_ml", low: "volume_low_ml", high: "volume_high_ml", label: "Volume in a bag, ml", unit: "ml", what: "in the bag", min: 1, max: 5000, required: true },
  { name: "shake_s", low: "shake_low_s", high: "shake_high_s", label: "Hard shaking, s", unit: "s", what: "shaking", min: 0, max: 3600, required: true },
  { name: "piece_cm", low: "piece_low_cm", high: "piece_high_cm", label: "Pieces of tissue, cm", unit: "cm", what: "pieces", min: 0.1, max: 30 },
  { name: "rinses", low: "rinses", high: "rinses", label: "Rinses of the pieces after the wash", unit: "", what: "rinses", min: 0, max: 20, whole: true },
];

const figure = (value) => String(Number(Number(value).toPrecision(6)));
const span = (low, high) => (low === high ? figure(low) : `${figure(low)} to ${figure(high)}`);

// The value to begin with: the most where a range is asked, the middle for pieces.
export function usual(protocol, { name, low, high }) {
  const value = name === "piece_cm" ? (protocol[low] + protocol[high]) / 2 : protocol[high];
  return value === null || value === undefined || Number.isNaN(value) ? "" : figure(value);
}

export function asked(protocol, { low, high }) {
  return protocol[low] === null || protocol[low] === undefined ? "" : span(protocol[low], protocol[high]);
}

// Say each figure that departs: "20 s shaking, not 30"; what nobody wrote does not.
export function departures(protocol, values) {
  return MEASURES.filter(({ name, low, high }) => {
    const seen = values[name];
    return seen !== null && seen !== undefined && protocol[low] !== null && protocol[low] !== undefined && !(protocol[low] <= seen && seen <= protocol[high]);
  }).map((one) => `${[figure(values[one.name]), one.unit, one.what].filter(Boolean).join(" ")}, not ${span(protocol[one.low], protocol[one.high])}`);
}
