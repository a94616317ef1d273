/**
 * The phone's clock, as it is: the server corrects it, the phone only says how far it is out.
 *
 * @module
 */
import { SKEW_SHOWN_S } from "./constants.js";

/**
 * Return a moment and its offset from UTC as an operation carries them.
 *
 * @param {Date} [at]
 */
export function deviceMoment(at = new Date()) {
  return { device_at: at.toISOString(), device_offset_minutes: 0 - at.getTimezoneOffset() };
}

/**
 * Return the day by the phone's own clock and zone, as 2026-11-25.
 *
 * @param {Date} [at]
 */
export function deviceDay(at = new Date()) {
  const month = String(at.getMonth() + 1).padStart(2, "0");
  return `${at.getFullYear()}-${month}-${String(at.getDate()).padStart(2, "0")}`;
}

/**
 * Return a sentence about a clock that is far out, or "" when it is not.
 *
 * @param {number | null} skew_s server's clock minus the phone's
 */
export function clockWords(skew_s) {
  if (skew_s === null || Math.abs(skew_s) <= SKEW_SHOWN_S) {
    return "";
  }
  const side = skew_s > 0 ? "slow" : "fast";
  return (
    `This phone's clock is ${spanWords(Math.abs(skew_s))} ${side}. What you record keeps both ` +
    "times and is flagged; set the phone's clock right."
  );
}

/** @param {number} seconds */
function spanWords(seconds) {
  for (const [length, word] of /** @type {[number, string][]} */ ([
    [86_400, "day"],
    [3_600, "hour"],
    [60, "minute"],
  ])) {
    const count = Math.round(seconds / length);
    if (seconds >= length) {
      return `${count} ${word}${count === 1 ? "" : "s"}`;
    }
  }
  return `${Math.round(seconds)} seconds`;
}
