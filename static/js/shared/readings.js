/**
 * Readings as whole thousandths, so that a mean equal to its level is seen to meet it.
 *
 * @module
 */

const DECIMALS = 3;
const THOUSANDTHS = 10 ** DECIMALS;
const NUMBER = /^(?:\d+(?:\.\d{0,3})?|\.\d{1,3})$/;

/**
 * Return a typed reading in thousandths; null while it is not a number of at most three
 * decimals (the server says what is wrong with it).
 *
 * @param {string} typed
 * @returns {number | null}
 */
export function toThousandths(typed) {
  const text = typed.trim();
  if (!NUMBER.test(text)) {
    return null;
  }
  const [whole, rest = ""] = text.split(".");
  return Number(whole || "0") * THOUSANDTHS + Number(rest.padEnd(DECIMALS, "0"));
}

/**
 * Return the sum and number of the readings that can be read.
 *
 * @param {string[]} typed
 * @returns {{ sum: number, count: number }}
 */
export function sumReadings(typed) {
  const values = typed.map(toThousandths).filter((value) => value !== null);
  return { sum: values.reduce((total, value) => total + value, 0), count: values.length };
}

/**
 * Return whether a mean is at or above a level, compared exactly.
 *
 * @param {{ sum: number, count: number }} readings
 * @param {string} level
 * @returns {boolean | null} null when the level is not known
 */
export function meetsLevel(readings, level) {
  const bound = toThousandths(level);
  return bound === null || readings.count === 0
    ? null
    : readings.sum >= bound * readings.count;
}

/**
 * Return a mean with one decimal, or with as many more as show on which side of its level it is.
 *
 * @param {{ sum: number, count: number }} readings
 * @param {string} level
 * @returns {string}
 */
export function meanWords(readings, level) {
  const mean = readings.sum / readings.count / THOUSANDTHS;
  const bound = toThousandths(level);
  const isLevel = bound !== null && readings.sum === bound * readings.count;
  for (let places = 1; places <= 4; places += 1) {
    const words = mean.toFixed(places);
    if (bound === null || isLevel || Number(words) !== bound / THOUSANDTHS) {
      return words;
    }
  }
  return `just under ${level}`;
}

/**
 * Return the ratio of two means against a level of so many to one.
 *
 * @param {{ sum: number, count: number }} legend
 * @param {{ sum: number, count: number }} background
 * @param {string} level
 * @returns {{ words: string, isMet: boolean } | null} null while either is missing or zero
 */
export function contrast(legend, background, level) {
  const bound = toThousandths(level);
  if (bound === null || !legend.count || !background.count || !background.sum) {
    return null;
  }
  // legend / background >= bound, cross-multiplied: whole numbers throughout.
  const left = BigInt(legend.sum) * BigInt(background.count) * BigInt(THOUSANDTHS);
  const right = BigInt(background.sum) * BigInt(legend.count) * BigInt(bound);
  const ratio = (legend.sum * background.count) / (background.sum * legend.count);
  return { words: ratio.toFixed(2), isMet: left >= right };
}
