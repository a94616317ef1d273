/**
 * The verdict beside the keypad: what is typed now, with what was read before.
 *
 * @module
 */
import { judge } from "../shared/verdict/judge.js";
import { earlierReadings } from "./readings_of_sign.js";

/** @typedef {import("../shared/verdict/types.js").Answer} Answer */
/** @typedef {import("../shared/verdict/types.js").TypedSet} TypedSet */
/** @typedef {(sets: TypedSet[]) => Answer | null} Judge null where the levels are not carried */

/**
 * Return what judges the readings of a sign on this phone.
 *
 * @param {import("./page.js").App} app
 * @param {import("./subject.js").Subject} subject
 * @param {string | null} leftOut what is put right by what is read now
 * @returns {Promise<Judge>}
 */
export async function openJudge(app, subject, leftOut) {
  const policy = app.basics?.policy ?? null;
  const plan = subject.sign?.plan ? await app.store.plan(subject.sign.plan) : null;
  if (!policy || !plan) {
    return () => null;
  }
  const before = await earlierReadings(app, subject, leftOut);
  return (sets) => judge(plan, [...before, ...sets], policy);
}
