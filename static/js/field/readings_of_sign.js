/**
 * What was read of a sign before, on the server and on this phone, as the verdict takes it.
 *
 * @module
 */
import { deviceDay } from "./clock.js";
import { contentOf } from "./recorded_words.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./subject.js").Subject} Subject */
/** @typedef {import("./types.js").StoredOperation} StoredOperation */
/** @typedef {import("../shared/verdict/types.js").TypedSet} TypedSet */

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
  const recorded = await recordedReadings(app, subject);
  const corrected = new Set(
    recorded.map(({ payload }) =>
      String(payload.corrects?.operation ?? payload.corrects?.id ?? ""),
    ),
  ).add(leftOut ?? "");
  const own = recorded
    .filter(({ operation }) => !corrected.has(operation.client_uuid))
    .flatMap(({ operation, payload }) => setsOf(app, operation, payload));
  return [...known.filter((each) => !corrected.has(String(each.visit))), ...own];
}

/**
 * Return the readings of a sign that were recorded on this phone and stand, the newest first.
 *
 * @param {App} app
 * @param {Subject} subject
 * @returns {Promise<{ operation: StoredOperation, payload: Record<string, any> }[]>}
 */
export async function recordedReadings(app, subject) {
  // What the server knew already when the area was taken along stands among its readings.
  const recorded = await Promise.all(
    subject.recorded.map(({ client_uuid }) => app.store.operation(client_uuid)),
  );
  return recorded
    .filter((each) => each !== null)
    .filter(({ kind, sign_key }) => kind === "inspection" && sign_key === subject.signKey)
    .filter(({ state, replaced_by }) => state !== "refused" && !replaced_by)
    .map((operation) => ({ operation, payload: contentOf(operation).payload }))
    .filter(({ payload }) => payload.reading_sets?.length > 0);
}

/**
 * @param {App} app
 * @param {StoredOperation} operation
 * @param {Record<string, any>} payload
 * @returns {TypedSet[]}
 */
function setsOf(app, operation, payload) {
  const instruments = /** @type {Record<string, any>[]} */ (app.basics?.instruments ?? []);
  const instrument = instruments.find((each) => each.id === payload.instrument_id);
  return payload.reading_sets.map((/** @type {Record<string, any>} */ set) => ({
    color: set.color,
    values: set.values,
    observation_angle_deg: set.observation_angle_deg,
    entrance_angle_deg: set.entrance_angle_deg,
    how: payload.how,
    surface_state: payload.surface_state,
    doubt: instrument?.doubt ?? "",
    instrument_id: payload.instrument_id,
    at_us: operation.recorded_at_ms * MICROSECONDS,
    day: deviceDay(new Date(operation.recorded_at_ms)),
    visit: OWN_VISITS_FROM + operation.sequence,
  }));
}
