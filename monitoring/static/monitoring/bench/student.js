// Quantiles of Student's t with whole degrees of freedom, from its finite series.
// Source: Abramowitz & Stegun 1964, Handbook of Mathematical Functions, 26.7.3 and 26.7.4.

const HALVINGS = 60;

// The chance that |t| stays below sqrt(degrees) * tan(angle).
function within(angle, degrees) {
  const odd = degrees % 2 === 1;
  if (degrees === 1) return (2 * angle) / Math.PI;
  const cosine = Math.cos(angle), square = cosine ** 2;
  let term = odd ? cosine : 1, sum = term;
  for (let n = odd ? 2 : 1; n <= degrees - 3; n += 2) {
    term *= (n / (n + 1)) * square;
    sum += term;
  }
  const tail = Math.sin(angle) * sum;
  return odd ? (2 / Math.PI) * (angle + tail) : tail;
}

// The value that t stays above with a chance of `tail` (0 < tail < 0.5).
export function upperT(tail, degrees) {
  const wanted = 1 - 2 * tail;
  let low = 0, high = Math.PI / 2;
  for (let i = 0; i < HALVINGS; i += 1) {
    const middle = (low + high) / 2;
    if (within(middle, degrees) < wanted) low = middle;
    else high = middle;
  }
  return Math.sqrt(degrees) * Math.tan((low + high) / 2);
}
