/**
 * The running mean beside a form's boxes, in words; what is exact is compared in verdict/.
 *
 * @module
 */
import * as compare from "./verdict/compare.js";
import { THOUSANDTHS, toThousandths } from "./verdict/readings.js";

export { sumReadings, toThousandths } from "./verdict/readings.js";

/**
 * Return whether a mean is at or above a typed level, compared exactly.
 *
 * @param {{ sum: number, count: number }} readings
 * @param {string} level
 * @returns {boolean | null} null when the level is not known
 */
export function meetsLevel(readings, level) {
  const bound = toThousandths(level);
  return bound === null || readings.count === 0 ? null : compare.meetsLevel(readings, bound);
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
  const ratio = (legend.sum * background.count) / (background.sum * legend.count);
  return { words: ratio.toFixed(2), isMet: compare.meetsContrast(legend, background, bound) };
}
