/**
 * The decision rule: from a result with its uncertainty and a level to a verdict.
 *
 * As inventory/engineering/assessment/decision.py and contrast.py. Values are compared with the
 * level on whole thousandths; floating point serves the statistics alone.
 *
 * @module
 */
import { contrastDifference, meetsLevel } from "./compare.js";
import { THOUSANDTHS } from "./readings.js";
import { studentProbability, studentQuantile } from "./student.js";
import {
  coverageFactor,
  floatMean,
  scatterVariance,
  standardUncertainty,
  welchSatterthwaite,
} from "./uncertainty.js";

/** @typedef {import("./types.js").ColorResult} ColorResult */
/** @typedef {import("./types.js").Decision} Decision */

const MAXIMUM_FURTHER_READINGS = 30;
const NEVER_SETTLED = -1;

/**
 * What a difference that must be 0 or more is judged by; `certainty` and `isOpen` may be asked
 * for any number of further readings, Infinity too.
 *
 * @typedef {{ difference: number, isMet: boolean,
 *   certainty: (more: number) => { u: number, dof: number },
 *   isOpen: (more: number, factor: number) => boolean }} Judged
 */

/**
 * Return the verdict on one colour under one level.
 *
 * @param {ColorResult} result
 * @param {number} level in thousandths
 * @param {number | null} required the probability a guard asks for; null: simple acceptance
 * @returns {Decision}
 */
export function decideLevel(result, level, required) {
  const { total, count, common } = result;
  const apart = BigInt(total) - BigInt(level) * BigInt(count);
  return decide(
    {
      difference: Number(apart) / (count * THOUSANDTHS),
      isMet: meetsLevel({ sum: total, count }, level),
      certainty: (more) => {
        const [variance, dof] = scatterPart(result, more);
        const parts = [variance, common * common];
        return {
          u: Math.sqrt(parts[0] + parts[1]),
          dof: welchSatterthwaite(parts, [dof, Infinity]),
        };
      },
      isOpen: () => false,
    },
    required,
  );
}

/**
 * Return the verdict on a contrast white over red, with the 95 % interval of the ratio.
 *
 * Judged is white − ratio × red; what both readings share largely cancels in it. A guard leaves
 * the contrast undecided where the red is not clear of 0.
 *
 * @param {ColorResult} white
 * @param {ColorResult} red not both 0
 * @param {number} ratio in thousandths
 * @param {boolean} isShared whether one instrument read both in one session
 * @param {number | null} required
 * @returns {Decision}
 */
export function decideContrast(white, red, ratio, isShared, required) {
  const times = ratio / THOUSANDTHS;
  const whiteCommon = white.common;
  const redCommon = times * red.common;
  const apart = whiteCommon - redCommon;
  const common = isShared ? apart * apart : whiteCommon * whiteCommon + redCommon * redCommon;
  const whole = contrastDifference(sumOf(white), sumOf(red), ratio);
  const decided = decide(
    {
      difference: Number(whole) / (white.count * red.count * THOUSANDTHS ** 2),
      isMet: whole >= 0n,
      certainty: (more) => {
        const [whiteVariance, whiteDof] = scatterPart(white, more);
        const [redVariance, redDof] = scatterPart(red, more);
        const parts = [whiteVariance, times ** 2 * redVariance, common];
        return {
          u: Math.sqrt(parts[0] + parts[1] + parts[2]),
          dof: welchSatterthwaite(parts, [whiteDof, redDof, Infinity]),
        };
      },
      isOpen: (more, factor) => {
        const variance = scatterPart(red, more)[0] + red.common * red.common;
        return !(floatMean(red) ** 2 > factor ** 2 * variance);
      },
    },
    required,
  );
  const shared = isShared ? white.common * red.common : 0;
  return { ...decided, interval: fieller(white, red, shared, coverageFactor(decided.dof)) };
}

/**
 * @param {Judged} judged
 * @param {number | null} required
 * @returns {Decision}
 */
function decide(judged, required) {
  const { u, dof } = judged.certainty(0);
  const deviation = u > 0 ? judged.difference / u : judged.difference >= 0 ? Infinity : -Infinity;
  const guard = required === null ? 0 : studentQuantile(required, dof) * u;
  /** @type {Decision} */
  const decision = {
    verdict: judged.isMet ? "meets" : "below",
    p: studentProbability(deviation, dof),
    u,
    dof,
    U: coverageFactor(dof) * u,
    guard,
    further: 0,
    interval: null,
  };
  if (required !== null && !isSettled(judged, required, 0)) {
    decision.verdict = "undecided";
    decision.further = furtherReadings(judged, required);
  }
  return decision;
}

/**
 * Return whether the difference would be clear of the guard with so many readings more.
 *
 * @param {Judged} judged
 * @param {number} required
 * @param {number} more
 * @returns {boolean}
 */
function isSettled(judged, required, more) {
  const { u, dof } = judged.certainty(more);
  const factor = studentQuantile(required, dof);
  const guard = factor * u;
  const isOutside = judged.difference >= guard || judged.difference < -guard;
  return isOutside && !judged.isOpen(more, factor);
}

/**
 * @param {Judged} judged
 * @param {number} required
 * @returns {number}
 */
function furtherReadings(judged, required) {
  if (!isSettled(judged, required, Infinity)) {
    return NEVER_SETTLED;
  }
  for (let more = 1; more <= MAXIMUM_FURTHER_READINGS; more += 1) {
    if (isSettled(judged, required, more)) {
      return more;
    }
  }
  return MAXIMUM_FURTHER_READINGS + 1;
}

/**
 * Return the variance and degrees of freedom of a mean's scatter with so many readings more.
 *
 * @param {ColorResult} result
 * @param {number} more
 * @returns {[number, number]}
 */
function scatterPart(result, more) {
  if (more === 0) {
    return [scatterVariance(result), result.scatterDof];
  }
  const count = result.count + more;
  return [(result.scatter * result.scatter) / count, count - 1];
}

/**
 * Return the ratios of 0 or more that two uncertain means leave possible (Fieller 1954).
 *
 * @param {ColorResult} white
 * @param {ColorResult} red
 * @param {number} covariance
 * @param {number} factor
 * @returns {[number, number]} the upper bound is infinite where there is none
 */
function fieller(white, red, covariance, factor) {
  const numerator = floatMean(white);
  const denominator = floatMean(red);
  const numeratorVariance = standardUncertainty(white) ** 2;
  const denominatorVariance = standardUncertainty(red) ** 2;
  const squared = factor * factor;
  // The possible ratios k solve a·k² − 2·b·k + c ≤ 0.
  const a = denominator * denominator - squared * denominatorVariance;
  const b = numerator * denominator - squared * covariance;
  const c = numerator * numerator - squared * numeratorVariance;
  // b² − a·c, rearranged so that large equal terms do not cancel.
  const determinant = numeratorVariance * denominatorVariance - covariance * covariance;
  const discriminant =
    squared *
    (denominator * denominator * numeratorVariance +
      numerator * numerator * denominatorVariance -
      2 * numerator * denominator * covariance -
      squared * determinant);
  const sum = b + Math.sqrt(Math.max(discriminant, 0));
  return [c > 0 && sum > 0 ? c / sum : 0, a > 0 ? sum / a : Infinity];
}

/**
 * @param {ColorResult} result
 * @returns {{ sum: number, count: number }}
 */
function sumOf(result) {
  return { sum: result.total, count: result.count };
}
