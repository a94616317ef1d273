/**
 * What was read of a sign before, on the server and on this phone, as the verdict takes it.
 *
 * @module
 */
import { deviceDay } from "./clock.js";
import { contentOf } from "./recorded_words.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./subject.js").Subject} Subject */
/** @typedef {import("../shared/verdict/types.js").TypedSet} TypedSet */

const COUNTED = /** @type {const} */ (["waiting", "sent", "held", "acknowledged"]);
const MOST_RECORDED = 20;
const MICROSECONDS = 1000;
/** Visits of this phone get numbers that no visit of the server has. */
const OWN_VISITS_FROM = 2 ** 40;

/**
 * Return the readings of a sign before what is read now.
 *
 * @param {App} app
 * @param {Subject} subject
 * @param {string | null} leftOut the operation that what is read now takes the place of, or the
 *   server's inspection it corrects
 * @returns {Promise<TypedSet[]>}
 */
export async function earlierReadings(app, subject, leftOut) {
  const known = /** @type {TypedSet[]} */ (subject.sign?.readings ?? []);
  const newest_us = Math.max(-Infinity, ...known.map((each) => each.at_us ?? -Infinity));
  const recorded = await app.store.operations({
    sign: subject.signKey,
    states: [...COUNTED],
    limit: MOST_RECORDED,
  });
  const own = recorded
    .filter(({ kind, client_uuid }) => kind === "inspection" && client_uuid !== leftOut)
    .filter(({ recorded_at_ms }) => recorded_at_ms * MICROSECONDS > newest_us)
    .flatMap((operation) => {
      const { payload } = contentOf(operation);
      return (payload.reading_sets ?? []).map((/** @type {Record<string, any>} */ set) => ({
        color: set.color,
        values: set.values,
        observation_angle_deg: set.observation_angle_deg,
        entrance_angle_deg: set.entrance_angle_deg,
        how: payload.how,
        surface_state: payload.surface_state,
        doubt: "",
        instrument_id: payload.instrument_id,
        at_us: operation.recorded_at_ms * MICROSECONDS,
        day: deviceDay(new Date(operation.recorded_at_ms)),
        visit: OWN_VISITS_FROM + operation.sequence,
      }));
    });
  return [...known.filter((each) => String(each.visit) !== leftOut), ...own];
}
