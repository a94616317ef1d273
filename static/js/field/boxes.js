/**
 * Parts of the map as boxes of latitude and longitude.
 *
 * @module
 */
import { METRES_PER_DEGREE } from "./distances.js";

/** @typedef {import("./types.js").Box} Box */

const LEAST_COSINE = 0.01;

/**
 * Return the box that holds every point within a distance of a point.
 *
 * @param {{ latitude_deg: number, longitude_deg: number }} point
 * @param {number} radius_m
 * @returns {Box}
 */
export function boxAround({ latitude_deg, longitude_deg }, radius_m) {
  const north = radius_m / METRES_PER_DEGREE;
  const cosine = Math.cos((latitude_deg * Math.PI) / 180);
  // The meridian that touches the circle: sin(half width) = sin(angle) / cos(latitude).
  const touching = Math.sin((north * Math.PI) / 180) / Math.max(LEAST_COSINE, cosine);
  const east = (Math.asin(Math.min(1, touching)) * 180) / Math.PI;
  return {
    south_deg: Math.max(-90, latitude_deg - north),
    west_deg: Math.max(-180, longitude_deg - east),
    north_deg: Math.min(90, latitude_deg + north),
    east_deg: Math.min(180, longitude_deg + east),
  };
}
