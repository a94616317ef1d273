/**
 * What the map asks the server for: a box, and the filters of the page's own address.
 *
 * @module
 */

/** @typedef {{south: number, west: number, north: number, east: number}} Box */

/** Decimals of a degree that tell two roadside signs apart (about 0.1 m). */
const DEGREE_DECIMALS = 6;

const FURTHEST = { south: -90, west: -180, north: 90, east: 180 };

/**
 * Return the address to fetch for a box, keeping the page's filters and leaving its page number.
 *
 * @param {string} address where the data are
 * @param {string} pageQuery the page's own query text, with or without the question mark
 * @param {Box} box in degrees; what lies beyond the globe is cut off
 * @param {number} zoom of the map; a part of a level is rounded
 * @returns {string}
 */
export function dataAddress(address, pageQuery, box, zoom) {
  const query = new URLSearchParams(pageQuery);
  query.delete("page");
  for (const [side, value] of Object.entries(clampBox(box))) {
    query.set(`${side}_deg`, value.toFixed(DEGREE_DECIMALS));
  }
  query.set("zoom", String(Math.round(zoom)));
  return `${address}?${query}`;
}

/**
 * Return the part of a box that lies on the globe.
 *
 * @param {Box} box
 * @returns {Box}
 */
export function clampBox(box) {
  return {
    south: Math.max(FURTHEST.south, box.south),
    west: Math.max(FURTHEST.west, box.west),
    north: Math.min(FURTHEST.north, box.north),
    east: Math.min(FURTHEST.east, box.east),
  };
}

/**
 * Return the diameter of a group's circle: larger groups are larger, within bounds. [px]
 *
 * @param {number} count
 * @returns {number}
 */
export function groupDiameterPx(count) {
  return Math.round(Math.min(52, 26 + 7 * Math.log10(Math.max(1, count))));
}
