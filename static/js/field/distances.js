/**
 * Distances and bearings over the few kilometres a crew walks and drives.
 *
 * @module
 */

const EARTH_RADIUS_M = 6_371_008.8; // mean radius of WGS 84, (2a + b) / 3
const RADIANS = Math.PI / 180;
export const METRES_PER_DEGREE = EARTH_RADIUS_M * RADIANS;

/** @typedef {{ latitude_deg: number, longitude_deg: number }} Point */

/**
 * Return the difference of two longitudes, −180 to 180, across the date line too.
 *
 * @param {number} from_deg
 * @param {number} to_deg
 */
export function eastward(from_deg, to_deg) {
  return ((((to_deg - from_deg + 180) % 360) + 360) % 360) - 180;
}

/**
 * Return the distance of two points on a sphere, by the haversine.
 *
 * @param {Point} from
 * @param {Point} to
 */
export function distanceM(from, to) {
  const north = (to.latitude_deg - from.latitude_deg) * RADIANS;
  const east = eastward(from.longitude_deg, to.longitude_deg) * RADIANS;
  const a =
    Math.sin(north / 2) ** 2 +
    Math.cos(from.latitude_deg * RADIANS) *
      Math.cos(to.latitude_deg * RADIANS) *
      Math.sin(east / 2) ** 2;
  return 2 * EARTH_RADIUS_M * Math.asin(Math.min(1, Math.sqrt(a)));
}

/**
 * Return the true bearing from one point to another, 0 to 360.
 *
 * @param {Point} from
 * @param {Point} to
 */
export function bearingDeg(from, to) {
  const east = eastward(from.longitude_deg, to.longitude_deg) * RADIANS;
  const [a, b] = [from.latitude_deg * RADIANS, to.latitude_deg * RADIANS];
  const y = Math.sin(east) * Math.cos(b);
  const x = Math.cos(a) * Math.sin(b) - Math.sin(a) * Math.cos(b) * Math.cos(east);
  return (Math.atan2(y, x) / RADIANS + 360) % 360;
}
