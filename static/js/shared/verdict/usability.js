/**
 * Which readings are judged: per colour the newest usable visit.
 *
 * As inventory/engineering/inspection/usability.py and select_readings in assessment/face.py.
 *
 * @module
 */
import { readingProblem, toThousandths } from "./readings.js";

/** @typedef {import("./types.js").Policy} Policy */
/** @typedef {import("./types.js").ReadSet} ReadSet */
/** @typedef {import("./types.js").TypedSet} TypedSet */

const NOW_WORDS = "today";

/**
 * Return why readings are kept and shown but not judged, as the server says it; empty when they
 * are judged.
 *
 * @param {{ how?: string, surface_state?: string, observation_angle_deg?: string,
 *   entrance_angle_deg?: string, doubt?: string }} taken
 * @param {Policy} policy
 * @returns {string}
 */
export function reasonNotJudged(taken, policy) {
  const { how, surface_state, observation_angle_deg, entrance_angle_deg, doubt } = filled(
    taken,
    policy,
  );
  const notMeasured = policy.not_judged.how[how];
  if (notMeasured) {
    return notMeasured;
  }
  const wanted = policy.geometry;
  if (
    Number(observation_angle_deg) !== Number(wanted.observation_angle_deg) ||
    Number(entrance_angle_deg) !== Number(wanted.entrance_angle_deg)
  ) {
    return (
      `read at ${geometryWords(observation_angle_deg, entrance_angle_deg)}; the levels are for ` +
      geometryWords(wanted.observation_angle_deg, wanted.entrance_angle_deg)
    );
  }
  return policy.not_judged.surface_state[surface_state] || doubt;
}

/**
 * Return what decides: per colour the newest usable visit, and newer sets that are not usable.
 *
 * @param {TypedSet[]} typed
 * @param {Policy} policy
 * @returns {ReadSet[]} in order of colour, then newest first
 */
export function selectReadings(typed, policy) {
  const sets = typed.map((each) => readSet(each, policy));
  const colors = [...new Set(sets.map((each) => each.color))].sort();
  return colors.flatMap((color) => newestUsable(sets.filter((each) => each.color === color)));
}

/**
 * Return whether one recorded instrument read all the sets on one day.
 *
 * @param {ReadSet[]} sets
 * @returns {boolean}
 */
export function isOneSession(sets) {
  const [first] = sets;
  return sets.every(
    (each) =>
      each.instrument_id !== null &&
      each.instrument_id === first.instrument_id &&
      each.day === first.day,
  );
}

/**
 * @param {ReadSet[]} sets of one colour
 * @returns {ReadSet[]}
 */
function newestUsable(sets) {
  const sorted = [...sets].sort(newestFirst);
  const judged = sorted.find((each) => !each.reason);
  return judged ? sorted.filter((each) => visitOrder(each, judged) >= 0) : sorted;
}

/**
 * @param {ReadSet} one
 * @param {ReadSet} other
 * @returns {number}
 */
function visitOrder(one, other) {
  return order(one.at_us, other.at_us) || order(one.visit, other.visit);
}

/**
 * A total order, so that the order in which sets are given cannot matter.
 *
 * @param {ReadSet} one
 * @param {ReadSet} other
 * @returns {number}
 */
function newestFirst(one, other) {
  return (
    visitOrder(other, one) ||
    order(Number(!other.reason), Number(!one.reason)) ||
    order(Number(other.observation_angle_deg), Number(one.observation_angle_deg)) ||
    order(Number(other.entrance_angle_deg), Number(one.entrance_angle_deg)) ||
    orderOfLists(other.thousandths, one.thousandths) ||
    order(other.instrument_id ?? 0, one.instrument_id ?? 0)
  );
}

/**
 * @param {number} one
 * @param {number} other
 * @returns {number}
 */
function order(one, other) {
  return one < other ? -1 : Number(one > other);
}

/**
 * @param {number[]} one
 * @param {number[]} other
 * @returns {number}
 */
function orderOfLists(one, other) {
  for (const [at, value] of one.entries()) {
    if (at >= other.length || value !== other[at]) {
      return at >= other.length ? 1 : order(value, other[at]);
    }
  }
  return order(one.length, other.length);
}

/**
 * @param {TypedSet} typed
 * @param {Policy} policy
 * @returns {ReadSet}
 */
function readSet(typed, policy) {
  const whole = filled(typed, policy);
  const thousandths = typed.values.map((value) => {
    const problem = readingProblem(value);
    if (problem) {
      throw new RangeError(problem);
    }
    return toThousandths(value) ?? 0;
  });
  const reason = thousandths.length ? reasonNotJudged(whole, policy) : "no value was typed";
  return { ...whole, thousandths, reason };
}

/**
 * @template {Partial<TypedSet>} Given
 * @param {Given} given
 * @param {Policy} policy
 * @returns {Given & Required<Omit<TypedSet, "color" | "values">>}
 */
function filled(given, policy) {
  return {
    ...given,
    how: given.how ?? "hand_held",
    surface_state: given.surface_state ?? "",
    observation_angle_deg: given.observation_angle_deg ?? policy.geometry.observation_angle_deg,
    entrance_angle_deg: given.entrance_angle_deg ?? policy.geometry.entrance_angle_deg,
    doubt: given.doubt ?? "",
    instrument_id: given.instrument_id ?? null,
    at_us: given.at_us ?? Infinity,
    day: given.day ?? NOW_WORDS,
    visit: given.visit ?? Infinity,
  };
}

/**
 * @param {string} observation
 * @param {string} entrance
 * @returns {string}
 */
function geometryWords(observation, entrance) {
  return `${angleWords(observation)}°/${angleWords(entrance)}°`;
}

/**
 * @param {string} typed
 * @returns {string}
 */
function angleWords(typed) {
  const tenth = /^([+-]?\d+)(?:\.(\d?)0*)?$/.exec(typed.trim());
  return (tenth ? `${tenth[1]}.${tenth[2] || "0"}` : typed).replace("-", "−");
}
