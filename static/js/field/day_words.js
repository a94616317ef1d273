/**
 * Days and times as a person reads them: 25 Nov 2026, 21:40.
 *
 * @module
 */

const MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split(" ");

/**
 * Return a day as far as it is known; "2015" and "2015-05" are known in part.
 *
 * @param {string | null | undefined} day
 * @returns {string}
 */
export function dayWords(day) {
  const found = /^(\d{4})(?:-(\d{2})(?:-(\d{2}))?)?/.exec(day ?? "");
  if (!found) {
    return "not known";
  }
  const [, year, month, date] = found;
  return [date ? String(Number(date)) : "", month ? MONTHS[Number(month) - 1] : "", year]
    .filter(Boolean)
    .join(" ");
}

/**
 * Return the hour and minute of the phone's clock.
 *
 * @param {Date} moment
 * @returns {string}
 */
export function clockTime(moment) {
  const two = (/** @type {number} */ number) => String(number).padStart(2, "0");
  return `${two(moment.getHours())}:${two(moment.getMinutes())}`;
}
