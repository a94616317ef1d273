/**
 * Several position fixes of one place made into one.
 *
 * @module
 */

import { distanceM, eastward } from "./distances.js";

const LEAST_ACCURACY_M = 0.1; // no phone is better, whatever it says

/**
 * @typedef {object} Fix
 * @property {number} latitude_deg
 * @property {number} longitude_deg
 * @property {number} accuracy_m as the phone states it: 68 % within
 */

/**
 * Return one point for several fixes, each weighted by the inverse square of its accuracy.
 *
 * Fixes of one place seconds apart share most of their error, so averaging is not taken to make
 * them better: the accuracy is that of a weighted mean of wholly correlated errors, and never
 * less than the fixes themselves scatter.
 *
 * @param {Fix[]} fixes
 * @returns {(Fix & { count: number }) | null} null without a fix
 */
export function averageFix(fixes) {
  if (fixes.length === 0) {
    return null;
  }
  const weights = fixes.map((fix) => 1 / Math.max(fix.accuracy_m, LEAST_ACCURACY_M) ** 2);
  const total = weights.reduce((sum, weight) => sum + weight, 0);
  /** @param {(fix: Fix) => number} value */
  const mean = (value) =>
    fixes.reduce((sum, fix, at) => sum + weights[at] * value(fix), 0) / total;
  const start = fixes[0].longitude_deg;
  const point = {
    latitude_deg: mean((fix) => fix.latitude_deg),
    // Held against the first, so that fixes on both sides of 180° do not meet at 0°.
    longitude_deg: eastward(0, start + mean((fix) => eastward(start, fix.longitude_deg))),
  };
  const shared_m = mean((fix) => fix.accuracy_m);
  const scatter_m = Math.sqrt(mean((fix) => distanceM(point, fix) ** 2));
  // To the centimetre, so that rounding alone never makes a fix worse than the record.
  const accuracy_m = Math.round(Math.max(shared_m, scatter_m) * 100) / 100;
  return { ...point, accuracy_m, count: fixes.length };
}

/**
 * Return whether a fix is worse than the point on record: moving there would lose.
 *
 * @param {number} accuracy_m of the fix
 * @param {number | null} recorded_m of the point on record; null: not known
 * @returns {boolean} false where it is not known how good the record is
 */
export function isWorse(accuracy_m, recorded_m) {
  return recorded_m !== null && accuracy_m > recorded_m;
}
