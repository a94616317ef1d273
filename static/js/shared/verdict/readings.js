/**
 * Typed values as whole thousandths, their exact sums, and exact values in figures.
 *
 * The sentences are those of inventory/engineering/inspection/readings.py.
 *
 * @module
 */

/** @typedef {import("./types.js").Fraction} Fraction */

const DECIMALS = 3;
export const THOUSANDTHS = 10 ** DECIMALS;
const MAXIMUM_RA_CD_LX_M2 = 2000;
const MAXIMUM_TYPED_LENGTH = 24;
const NUMBER = /^[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)$/;

/**
 * Return what is wrong with a typed reading, as the server would say it; empty when nothing is.
 *
 * @param {string} typed
 * @returns {string}
 */
export function readingProblem(typed) {
  const text = typed.trim();
  if (!text) {
    return "A reading is empty; type the value the instrument showed, or leave it out.";
  }
  if (!NUMBER.test(text) || text.length > MAXIMUM_TYPED_LENGTH) {
    const shown =
      text.length <= MAXIMUM_TYPED_LENGTH ? text : `${text.slice(0, MAXIMUM_TYPED_LENGTH)}…`;
    return (
      `'${shown}' is not a number; write the reading in figures with a decimal point, ` +
      "such as 35.0."
    );
  }
  if (decimalsOf(text) > DECIMALS) {
    return (
      `The reading ${text} cd/lx/m² has more than ${DECIMALS} decimals; type it as the ` +
      "instrument showed it."
    );
  }
  const thousandths = scaled(text);
  if (text.startsWith("-") && thousandths !== 0) {
    return (
      `The reading ${text} cd/lx/m² is negative; a face cannot return less than no light (0). ` +
      "Zero the instrument and read again."
    );
  }
  if (thousandths > MAXIMUM_RA_CD_LX_M2 * THOUSANDTHS) {
    return (
      `The reading ${text} cd/lx/m² is over ${MAXIMUM_RA_CD_LX_M2}, more than any sign sheeting ` +
      "returns; check the decimal point and the instrument's range."
    );
  }
  return "";
}

/**
 * Return a typed number in thousandths, whatever its size; null while it is no plain number of at
 * most three decimals, 0 or more.
 *
 * @param {string} typed
 * @returns {number | null}
 */
export function toThousandths(typed) {
  const text = typed.trim();
  if (!NUMBER.test(text) || decimalsOf(text) > DECIMALS) {
    return null;
  }
  const thousandths = scaled(text);
  return text.startsWith("-") && thousandths !== 0 ? null : thousandths;
}

/**
 * Return the sum in thousandths and the number of the typed values that are numbers.
 *
 * @param {string[]} typed
 * @returns {{ sum: number, count: number }}
 */
export function sumReadings(typed) {
  const values = typed.map(toThousandths).filter((value) => value !== null);
  return { sum: values.reduce((total, value) => total + value, 0), count: values.length };
}

/**
 * Return the exact mean of a sum of thousandths.
 *
 * @param {number} total
 * @param {number} count
 * @returns {Fraction}
 */
export function meanOf(total, count) {
  return { numerator: BigInt(total), denominator: BigInt(count) * BigInt(THOUSANDTHS) };
}

/**
 * Return below 0, 0 or above 0 as one exact value is less than, equal to or over another.
 *
 * @param {Fraction} one
 * @param {Fraction} other
 * @returns {number}
 */
export function compareFractions(one, other) {
  const apart = one.numerator * other.denominator - other.numerator * one.denominator;
  return apart < 0n ? -1 : Number(apart > 0n);
}

/**
 * Return an exact value in figures: as it is where it has at most three places, else rounded
 * half up to `places`, with as many more as show that it differs from `apartFrom`.
 *
 * @param {Fraction} value
 * @param {Fraction | null} [apartFrom]
 * @param {number} [places]
 * @returns {string}
 */
export function decimalWords(value, apartFrom = null, places = 2) {
  const { numerator, denominator } = value;
  const exact = numerator * BigInt(THOUSANDTHS);
  if (exact % denominator === 0n) {
    return figures(exact / denominator, DECIMALS).replace(/\.?0+$/, "");
  }
  const scale = 10n ** BigInt(places);
  const rounded = (2n * numerator * scale + denominator) / (2n * denominator);
  const shown = { numerator: rounded, denominator: scale };
  if (apartFrom && compareFractions(value, apartFrom) && !compareFractions(shown, apartFrom)) {
    return decimalWords(value, apartFrom, places + 1);
  }
  return figures(rounded, places);
}

/**
 * @param {bigint} whole
 * @param {number} places
 * @returns {string}
 */
function figures(whole, places) {
  const digits = whole.toString().padStart(places + 1, "0");
  return `${digits.slice(0, -places)}.${digits.slice(-places)}`;
}

/**
 * @param {string} text
 * @returns {number}
 */
function decimalsOf(text) {
  return (text.split(".")[1] ?? "").length;
}

/**
 * Return the figures of a number that is one, in thousandths, without its sign.
 *
 * @param {string} text
 * @returns {number}
 */
function scaled(text) {
  const [whole, rest = ""] = text.replace(/^[+-]/, "").split(".");
  return Number(whole || "0") * THOUSANDTHS + Number(rest.padEnd(DECIMALS, "0"));
}
