/**
 * Numbers on the axes, and what stands where the pointer is, in words.
 *
 * @import { PlotSpec, Place, Series } from "./spec.js"
 * @module
 */

import { placesOf } from "./spec.js";

const MINUS = "−";
const SIGNIFICANT = 3;

/**
 * @param {number} value
 * @returns {string} With a true minus sign, thousands apart, and no needless zeros.
 */
export function numberWords(value) {
  const digits = Math.abs(value) >= 100 ? 0 : SIGNIFICANT;
  const options = digits ? { maximumSignificantDigits: digits } : { maximumFractionDigits: 0 };
  return new Intl.NumberFormat("en-GB", options).format(value).replace("-", MINUS);
}

/**
 * @param {number[]} splits Ticks of an axis.
 * @returns {string[]} All with the decimals their step needs.
 */
export function tickWords(splits) {
  const step = splits.length > 1 ? Math.abs(splits[1] - splits[0]) : 1;
  const decimals = decimalsOf(step);
  const format = new Intl.NumberFormat("en-GB", {
    minimumFractionDigits: decimals,
    maximumFractionDigits: decimals,
  });
  return splits.map((each) => format.format(each === 0 ? 0 : each).replace("-", MINUS));
}

/**
 * @param {number} step
 * @returns {number} How many decimals show it whole: 0.25 needs two.
 */
function decimalsOf(step) {
  let decimals = 0;
  while (decimals < 6 && Math.abs(step - Number(step.toFixed(decimals))) > step * 1e-6) {
    decimals += 1;
  }
  return decimals;
}

/**
 * @param {PlotSpec} spec
 * @param {number} at
 * @returns {string}
 */
export function xWords(spec, at) {
  if (spec.x.kind === "date") {
    return new Date(at * 1000).toISOString().slice(0, 10);
  }
  if (spec.x.kind === "year") {
    return Number.isInteger(at) ? String(at) : at.toFixed(1);
  }
  return numberWords(at);
}

/**
 * Says what the series show near one place on the x axis.
 *
 * @param {PlotSpec} spec
 * @param {number} at
 * @param {number} reach How near a single point must be, on the x axis.
 * @returns {string} Empty where nothing is near.
 */
export function wordsAt(spec, at, reach) {
  const found = spec.series
    .map((series, number) => ({ series, place: nearest(placesOf(spec, number), at) }))
    .filter(({ series, place }) => place && isNear(series, place, at, reach));
  if (!found.length) {
    return "";
  }
  const closest = found
    .map(({ place }) => /** @type {Place} */ (place).x)
    .reduce((best, x) => (Math.abs(x - at) < Math.abs(best - at) ? x : best));
  const parts = found.map(({ series, place }) =>
    partWords(series, /** @type {Place} */ (place)),
  );
  return `${spec.x.label} ${xWords(spec, closest)}: ${parts.filter(Boolean).join("; ")}`;
}

/**
 * @param {Place[]} places
 * @param {number} at
 * @returns {Place | null}
 */
function nearest(places, at) {
  let best = null;
  for (const place of places) {
    if (
      (place.value !== null || place.low !== null) &&
      (best === null || Math.abs(place.x - at) < Math.abs(best.x - at))
    ) {
      best = place;
    }
  }
  return best;
}

/**
 * @param {Series} series
 * @param {Place | null} place
 * @param {number} at
 * @param {number} reach
 */
function isNear(series, place, at, reach) {
  const isSingle = series.kind === "points" || series.kind === "errors";
  return place !== null && Math.abs(place.x - at) <= reach * (isSingle ? 1 : 2);
}

/**
 * @param {Series} series
 * @param {Place} place
 */
function partWords(series, place) {
  const value = place.value === null ? "" : numberWords(place.value);
  const hasEnds = place.low !== null && place.high !== null;
  const between = hasEnds
    ? `between ${numberWords(/** @type {number} */ (place.low))} and ` +
      numberWords(/** @type {number} */ (place.high))
    : "";
  const figures = [value, between].filter(Boolean).join(", ");
  return figures ? `${series.label} ${figures}` : "";
}
