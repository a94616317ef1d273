/**
 * Distances and ways as a crew paces or drives them, in the words of the pages.
 *
 * @module
 */
import { compassWords } from "./bearings.js";

const METRES_PER_FOOT = 0.3048; // exact: international foot, NIST SP 811, appendix B.6
const FEET_PER_MILE = 5280;
const LONGEST_IN_FEET_FT = 1000;
const ROUGH_FROM_FT = 100;
const ROUGH_STEP_FT = 10;
const BESIDE_M = 3;

/**
 * Return a distance in feet, then in miles.
 *
 * @param {number} distance_m
 * @returns {string}
 */
export function way(distance_m) {
  const distance_ft = distance_m / METRES_PER_FOOT;
  if (distance_ft >= LONGEST_IN_FEET_FT) {
    return `${(distance_ft / FEET_PER_MILE).toFixed(1)} mi`;
  }
  const step = distance_ft < ROUGH_FROM_FT ? 1 : ROUGH_STEP_FT;
  return `${Math.round(distance_ft / step) * step} ft`;
}

/**
 * Return how far something is and in which direction; beside one's feet it has none.
 *
 * @param {number} distance_m
 * @param {number | null} bearing_deg
 * @returns {string}
 */
export function wayTo(distance_m, bearing_deg) {
  const direction = compassWords(bearing_deg);
  if (distance_m < BESIDE_M) {
    return "right here";
  }
  return direction ? `${way(distance_m)} ${direction}` : way(distance_m);
}

/**
 * Return which way a sign faces, in words.
 *
 * @param {number | null | undefined} facing_deg
 * @returns {string}
 */
export function facingWords(facing_deg) {
  const direction = compassWords(facing_deg);
  return direction ? `faces ${direction}` : "facing not known";
}

/**
 * Return where on its support a sign stands, in words.
 *
 * @param {number | null | undefined} order 1 is the uppermost
 * @param {number} count how many places the support has
 * @returns {string}
 */
export function orderWords(order, count) {
  if (count <= 1) {
    return "alone on its support";
  }
  return order === null || order === undefined
    ? `one of ${count} on its support`
    : `${order} of ${count} from the top`;
}
