/**
 * The stops of a package as they stand on this phone: the server's word, and what was said here.
 *
 * @module
 */
import { contentOf } from "./recorded_words.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./types.js").Found} Found */

/**
 * @typedef {object} StopNow
 * @property {number} id
 * @property {number} number
 * @property {number} position_id
 * @property {string} task
 * @property {string} task_words
 * @property {string} note
 * @property {string | null} arrive_at when work begins there, as planned
 * @property {number | null} service_minutes
 * @property {import("./stop_words.js").MeantFace | null} face to bring
 * @property {boolean} is_added by the crew, on the road
 * @property {string | null} outcome
 * @property {string} outcome_words
 * @property {Found | null} found null where its place is not on this phone
 */

const COUNTED = /** @type {const} */ (["waiting", "sent", "held", "acknowledged"]);
/** @type {Record<string, string>} */
const OUTCOME_WORDS = { done: "done", not_done: "not done" };

/**
 * Return the stops of a package in order.
 *
 * @param {App} app
 * @param {number} packageId
 * @returns {Promise<StopNow[]>}
 */
export async function stopsNow(app, packageId) {
  const stops = await app.store.stops(packageId);
  return Promise.all(stops.map((stop) => stopNow(app, stop)));
}

/**
 * @param {App} app
 * @param {Record<string, any>} stop
 * @returns {Promise<StopNow>}
 */
export async function stopNow(app, stop) {
  const recorded = await app.store.operations({
    sign: `stop:${stop.id}`,
    states: [...COUNTED],
    limit: 1,
  });
  const outcome = recorded[0] ? contentOf(recorded[0]).payload.outcome : (stop.outcome ?? null);
  const position = await app.store.position(stop.position_id);
  const support = position ? await app.store.support(position.support_id) : null;
  const sign = position?.sign_id ? await app.store.sign(position.sign_id) : null;
  return {
    id: stop.id,
    number: stop.number,
    position_id: stop.position_id,
    task: stop.task,
    task_words: stop.task_words,
    note: stop.note ?? "",
    // Stops taken along by an earlier version have none of these.
    arrive_at: stop.arrive_at ?? null,
    service_minutes: stop.service_minutes ?? null,
    face: stop.face ?? null,
    is_added: stop.is_added ?? false,
    outcome,
    outcome_words: outcome === null ? "" : (OUTCOME_WORDS[outcome] ?? outcome),
    found:
      position && support ? { support, position, sign, distance_m: null, bearing_deg: null } : null,
  };
}
