/**
 * Which way something faces: eight directions in words, and the phone's compass.
 *
 * @module
 */

const FULL_CIRCLE_DEG = 360;
const STEP_DEG = 45;

/** The eight directions, each with its true bearing; north first, clockwise. */
export const DIRECTIONS = Object.freeze(
  ["north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west"].map(
    (words, at) => Object.freeze({ words, bearing_deg: at * STEP_DEG }),
  ),
);

/**
 * Return the nearest of the eight directions in words; "" while the bearing is not known.
 *
 * @param {number | null | undefined} bearing_deg
 * @returns {string}
 */
export function compassWords(bearing_deg) {
  if (bearing_deg === null || bearing_deg === undefined || !Number.isFinite(bearing_deg)) {
    return "";
  }
  const step = Math.round(fullCircle(bearing_deg) / STEP_DEG) % DIRECTIONS.length;
  return DIRECTIONS[step].words;
}

/**
 * Return a bearing as 0 to under 360.
 *
 * @param {number} bearing_deg
 * @returns {number}
 */
export function fullCircle(bearing_deg) {
  return ((bearing_deg % FULL_CIRCLE_DEG) + FULL_CIRCLE_DEG) % FULL_CIRCLE_DEG;
}

/**
 * Return which way a sign faces whose front a person looks at: back towards that person.
 *
 * @param {number} looking_deg the bearing the back of the phone points to
 * @returns {number} in whole degrees
 */
export function facingOf(looking_deg) {
  return Math.round(fullCircle(looking_deg + FULL_CIRCLE_DEG / 2)) % FULL_CIRCLE_DEG;
}

/**
 * Return the true or magnetic bearing a phone reports; null where it has no compass.
 *
 * @param {{ absolute?: boolean, alpha?: number | null, webkitCompassHeading?: number }} event
 * @returns {number | null}
 */
export function headingOf(event) {
  if (typeof event.webkitCompassHeading === "number") {
    return fullCircle(event.webkitCompassHeading);
  }
  // alpha turns anticlockwise from north; without `absolute` its zero is anywhere.
  if (event.absolute && typeof event.alpha === "number") {
    return fullCircle(FULL_CIRCLE_DEG - event.alpha);
  }
  return null;
}
