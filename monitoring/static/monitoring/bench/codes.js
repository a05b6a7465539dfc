// Label codes as monitoring/labels/codes.py writes them, checked without a network.
// Check characters by H. M. Damm, Total anti-symmetrische Quasigruppen, Marburg 2004.

const ALPHABET = "234567CFHJKMRWXY";
const LENGTH = 7, FIRST_GROUP = 3, REDUCING = 0b10011, SIZE = 16;
const WRITTEN_FOR = { S: "5", Z: "2", G: "6" };
const BETWEEN = /[\s\-\u2010-\u2015._]+/g;
const ADDRESS = /\/b\/([^/?#]+)/;

const twice = (value) => ((value << 1) & SIZE ? (value << 1) ^ REDUCING : value << 1);
const leftOver = (values) => values.reduce((left, value) => twice(left ^ value), 0);

export function printed(code) {
  return code ? `${code.slice(0, FIRST_GROUP)}-${code.slice(FIRST_GROUP)}` : "";
}

// The code that a person typed or a reader read, or what is wrong with it, in words.
export function readCode(text) {
  const inside = ADDRESS.exec(text);
  const shown = text.trim().slice(0, 40);
  const code = (inside ? inside[1] : text).replace(BETWEEN, "").toUpperCase()
    .replace(/[SZG]/g, (sign) => WRITTEN_FOR[sign]);
  if (!code) return { why: "Type or scan the code of a label." };
  const foreign = [...new Set(code)].filter((sign) => !ALPHABET.includes(sign)).sort();
  if (foreign.length && code.length === LENGTH) {
    return { why: `“${shown}” has ${foreign.slice(0, 4).join(", ")}: label codes are made of ${[...ALPHABET].join(" ")} only. Look at the label again.` };
  }
  if (foreign.length || code.length !== LENGTH) {
    return { why: `“${shown}” is no label code. One has ${LENGTH} signs.` };
  }
  if (leftOver([...code].map((sign) => ALPHABET.indexOf(sign)))) {
    return { why: `“${shown}” does not check: a sign is wrong, or two are swapped. Read the label again, sign by sign.` };
  }
  return { code };
}
