/**
 * The instrument in hand: remembered from sign to sign, with its checks and its certificate.
 *
 * @module
 */
import { deviceDay } from "./clock.js";
import { clockTime, dayWords } from "./day_words.js";
import { contentOf } from "./recorded_words.js";
import { toThousandths } from "../shared/readings.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {Record<string, any> & { id: number, serial: string }} Instrument */

export const INSTRUMENT_SETTING = "instrument_id";
const SHOWN_CHECKS = 20;
const LAST_CHECK_STATES = /** @type {const} */ (["waiting", "sent", "held", "acknowledged"]);

/**
 * Return the instrument in hand; null while none was named.
 *
 * @param {App} app
 * @returns {Promise<Instrument | null>}
 */
export async function instrumentInHand(app) {
  const id = await app.store.setting(INSTRUMENT_SETTING);
  const known = /** @type {Instrument[]} */ (app.basics?.instruments ?? []);
  return known.find((each) => each.id === id) ?? null;
}

/**
 * @param {App} app
 * @param {number | null} id
 * @returns {Promise<void>}
 */
export async function takeInstrument(app, id) {
  await app.store.setSetting(INSTRUMENT_SETTING, id);
}

/**
 * Return when an instrument was last checked, on this phone or as the server knew.
 *
 * @param {App} app
 * @param {Instrument} instrument
 * @returns {Promise<{ at: Date, isGood: boolean | null } | null>} isGood null: not judged yet
 */
export async function lastCheck(app, instrument) {
  const recorded = await app.store.operations({
    sign: `instrument:${instrument.id}`,
    states: [...LAST_CHECK_STATES],
    limit: SHOWN_CHECKS,
  });
  const here = recorded.find((each) => each.kind === "check");
  const known = instrument.last_check
    ? {
        at: new Date(instrument.last_check.checked_at),
        isGood: /** @type {boolean | null} */ (instrument.last_check.is_within_tolerance),
      }
    : null;
  if (!here || (known && known.at.getTime() >= here.recorded_at_ms)) {
    return known;
  }
  const { payload } = contentOf(here);
  return { at: new Date(here.recorded_at_ms), isGood: isWithin(payload, instrument) };
}

/**
 * Return what to say of an instrument: its last check, its certificate, and a doubt.
 *
 * @param {Instrument} instrument
 * @param {{ at: Date, isGood: boolean | null } | null} check
 * @param {Date} now
 * @returns {{ words: string, warning: string }}
 */
export function instrumentWords(instrument, check, now) {
  const today = deviceDay(now);
  const isToday = check !== null && deviceDay(check.at) === today;
  const result =
    check?.isGood === true ? "good" : check?.isGood === false ? "out of tolerance" : "checked";
  const checked = check
    ? `${result} ${isToday ? `today ${clockTime(check.at)}` : `on ${dayWords(deviceDay(check.at))}`}`
    : "no check on record";
  const due = instrument.certificate_due_on;
  const certificate = due ? `certificate to ${dayWords(due)}` : "certificate not known";
  return { words: `${checked}; ${certificate}`, warning: warningOf(instrument, check, due, today) };
}

/**
 * @param {Instrument} instrument
 * @param {{ at: Date, isGood: boolean | null } | null} check
 * @param {string | null} due
 * @param {string} today
 * @returns {string}
 */
function warningOf(instrument, check, due, today) {
  if (check?.isGood === false) {
    return "Out of tolerance: its readings are kept, and an engineer settles them.";
  }
  if (due && due < today) {
    return "Certificate run out: its readings are kept, and an engineer settles them.";
  }
  if (instrument.doubt) {
    return `Its readings are kept but not judged: ${instrument.doubt}.`;
  }
  if (check === null || deviceDay(check.at) !== today) {
    return "Not checked today.";
  }
  return "";
}

/**
 * @param {Record<string, any>} payload of a check
 * @param {Instrument} instrument
 * @returns {boolean | null} null where the tolerance or the reference is not known here
 */
function isWithin(payload, instrument) {
  const reference = toThousandths(payload.reference_ra_cd_lx_m2 ?? "");
  const shown = toThousandths(payload.shown_ra_cd_lx_m2 ?? "");
  const tolerance = instrument.check_tolerance_rel;
  if (!reference || shown === null || typeof tolerance !== "number") {
    return null;
  }
  return Math.abs(shown - reference) <= tolerance * reference;
}
