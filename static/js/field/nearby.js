/**
 * Which signs a phone's position could mean: every one within what it is good to, none picked.
 *
 * @module
 */

/** @typedef {import("./types.js").Found} Found */
/** @typedef {import("./fixes.js").Fix} Fix */

/** Rings that are searched one after the other, until one holds enough. [m] */
export const SEARCH_RADII_M = [60, 250, 1000, 4000];
export const MOST_NEARBY = 25;

/**
 * @typedef {object} Nearby
 * @property {Found[]} candidates signs that could be the one before the person, nearest first
 * @property {Found[]} others further signs, nearest first
 * @property {Found[]} empty places without a sign
 * @property {Found | null} only the one sign it can be, where just one remains
 */

/**
 * Return whether a support can stand where the phone is: both positions may be out.
 *
 * @param {Found} found
 * @param {Fix} fix
 * @returns {boolean}
 */
export function isWithinAccuracy(found, fix) {
  return (
    found.distance_m !== null &&
    found.distance_m <= fix.accuracy_m + (found.support.accuracy_m ?? 0)
  );
}

/**
 * Sort what was found around a fix; signs on one support go from the top down.
 *
 * @param {Found[]} found
 * @param {Fix} fix
 * @returns {Nearby}
 */
export function sortNearby(found, fix) {
  const sorted = [...found].sort(
    (one, other) =>
      (one.distance_m ?? Infinity) - (other.distance_m ?? Infinity) ||
      one.support.id - other.support.id ||
      (one.position.order_on_support ?? Infinity) - (other.position.order_on_support ?? Infinity) ||
      one.position.id - other.position.id,
  );
  const signs = sorted.filter((each) => each.sign !== null);
  const candidates = signs.filter((each) => isWithinAccuracy(each, fix));
  // However many could be meant, each of them is shown: only the further ones are cut off.
  const room = Math.max(0, MOST_NEARBY - candidates.length);
  const others = signs.filter((each) => !isWithinAccuracy(each, fix)).slice(0, room);
  return {
    candidates,
    others,
    empty: sorted
      .filter((each) => each.sign === null && !each.position.is_retired)
      .slice(0, MOST_NEARBY),
    only: candidates.length === 1 ? candidates[0] : null,
  };
}

/**
 * Return what is around a fix, from the smallest ring that holds a sign beyond its accuracy.
 *
 * @param {{ signsNear: (point: Fix, radius_m: number) => Promise<Found[]> }} store
 * @param {Fix} fix
 * @returns {Promise<Nearby>}
 */
export async function lookAround(store, fix) {
  let around = sortNearby([], fix);
  for (const radius_m of SEARCH_RADII_M.filter(
    (each) => each >= Math.min(fix.accuracy_m, SEARCH_RADII_M[SEARCH_RADII_M.length - 1]),
  )) {
    around = sortNearby(await store.signsNear(fix, radius_m), fix);
    if (around.candidates.length + around.others.length >= MOST_NEARBY) {
      break;
    }
  }
  return around;
}
