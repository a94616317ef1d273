/**
 * The checks of an instrument that were recorded on this phone today.
 *
 * @module
 */
import { deviceDay } from "./clock.js";
import { contentOf } from "./recorded_words.js";

/** @typedef {import("./page.js").App} App */

const MOST_CHECKS = 200;

/**
 * Return the checks of an instrument that were recorded on this phone today, the newest first.
 *
 * @param {App} app
 * @param {number} id
 * @returns {Promise<Array<{ moment: string, reference: string, shown: string, at_ms: number }>>}
 */
export async function checksToday(app, id) {
  const today = deviceDay(app.now());
  const found = await app.store.operations({
    sign: instrumentKey(id),
    states: ["waiting", "sent", "held", "acknowledged"],
    limit: MOST_CHECKS,
  });
  return found
    .filter((each) => each.kind === "check" && deviceDay(new Date(each.recorded_at_ms)) === today)
    .map((each) => {
      const { payload } = contentOf(each);
      return {
        moment: payload.moment,
        reference: payload.reference_ra_cd_lx_m2,
        shown: payload.shown_ra_cd_lx_m2,
        at_ms: each.recorded_at_ms,
      };
    });
}

/**
 * Return the key under which the checks of an instrument are found.
 *
 * @param {number} id
 */
export function instrumentKey(id) {
  return `instrument:${id}`;
}
