/**
 * Exact comparison of readings with a level, on whole thousandths.
 *
 * @module
 */

/**
 * Return whether the mean of readings is at or above a level.
 *
 * @param {{ sum: number, count: number }} readings in thousandths
 * @param {number} level in thousandths
 * @returns {boolean}
 */
export function meetsLevel(readings, level) {
  return BigInt(readings.sum) >= BigInt(level) * BigInt(readings.count);
}

/**
 * Return whether the mean white is at least a number of times the mean red.
 *
 * @param {{ sum: number, count: number }} white in thousandths
 * @param {{ sum: number, count: number }} red in thousandths
 * @param {number} ratio in thousandths; 3000 is 3:1
 * @returns {boolean}
 */
export function meetsContrast(white, red, ratio) {
  return contrastDifference(white, red, ratio) >= 0n;
}

/**
 * Return white less ratio times red, times both counts, in millionths.
 *
 * @param {{ sum: number, count: number }} white in thousandths
 * @param {{ sum: number, count: number }} red in thousandths
 * @param {number} ratio in thousandths
 * @returns {bigint}
 */
export function contrastDifference(white, red, ratio) {
  return (
    BigInt(white.sum) * BigInt(red.count) * 1000n -
    BigInt(ratio) * BigInt(red.sum) * BigInt(white.count)
  );
}
