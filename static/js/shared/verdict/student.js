/**
 * The normal and Student distributions for whole degrees of freedom, in closed form.
 *
 * Abramowitz and Stegun, Handbook of Mathematical Functions (1964), 26.7.3 and 26.7.4; the
 * normal series is 26.2.11. docs/methods/uncertainty.md says why degrees of freedom are cut.
 *
 * @module
 */

const NORMAL_FROM_DOF = 10000;
const ROUNDING = 1 + 1e-9; // a whole number that arithmetic left just short of itself stays whole
const NORMAL = 0; // how wholeDof writes "normal"
const FAR = 1e100;
const NORMAL_ENDS = 9; // beyond it the normal probability is 0 or 1 to 1e-18
const NEGLIGIBLE = 1e-18;
const ROOT_TWO_PI = Math.sqrt(2 * Math.PI);

/** @type {Map<string, number>} */
const quantiles = new Map();

/**
 * Return degrees of freedom cut down to a whole number; 0 stands for the normal distribution.
 *
 * @param {number} dof 1 or more, may be infinite
 * @returns {number}
 */
export function wholeDof(dof) {
  const whole = Math.floor(Math.min(dof, NORMAL_FROM_DOF) * ROUNDING);
  return whole >= NORMAL_FROM_DOF ? NORMAL : whole;
}

/**
 * Return the probability that a Student variable is at most a deviation.
 *
 * @param {number} deviation in standard uncertainties; may be infinite
 * @param {number} dof
 * @returns {number}
 */
export function studentProbability(deviation, dof) {
  const whole = wholeDof(dof);
  return whole === NORMAL ? normal(deviation) : student(deviation, whole);
}

/**
 * Return the deviation that a Student variable stays at or below with a given probability.
 *
 * @param {number} probability over 0.5 and under 1
 * @param {number} dof
 * @returns {number} in standard uncertainties
 */
export function studentQuantile(probability, dof) {
  const whole = wholeDof(dof);
  const key = `${probability} ${whole}`;
  let found = quantiles.get(key);
  if (found === undefined) {
    const density = whole === NORMAL ? normalDensity : studentDensity(whole);
    const start = whole === NORMAL ? 0 : studentQuantile(probability, Infinity);
    found = solve(probability, start, (at) => studentProbability(at, whole || Infinity), density);
    quantiles.set(key, found);
  }
  return found;
}

/**
 * Newton's rule from below: above 0 the functions bend down, so no step passes the root.
 *
 * @param {number} probability
 * @param {number} start
 * @param {(at: number) => number} below
 * @param {(at: number) => number} density
 * @returns {number}
 */
function solve(probability, start, below, density) {
  let at = start;
  for (;;) {
    const next = at + (probability - below(at)) / density(at);
    if (!(next > at)) {
      return at;
    }
    at = next;
  }
}

/**
 * @param {number} deviation
 * @returns {number}
 */
function normal(deviation) {
  if (Math.abs(deviation) >= NORMAL_ENDS) {
    return deviation > 0 ? 1 : 0;
  }
  let term = deviation;
  let total = term;
  for (let odd = 3; Math.abs(term) > Math.abs(total) * NEGLIGIBLE; odd += 2) {
    term *= (deviation * deviation) / odd;
    total += term;
  }
  return 0.5 + total * normalDensity(deviation);
}

/**
 * @param {number} deviation
 * @returns {number}
 */
function normalDensity(deviation) {
  return Math.exp((-deviation * deviation) / 2) / ROOT_TWO_PI;
}

/**
 * @param {number} deviation
 * @param {number} whole
 * @returns {number}
 */
function student(deviation, whole) {
  const tangent = Math.max(-FAR, Math.min(FAR, deviation)) / Math.sqrt(whole);
  const secant = Math.hypot(1, tangent);
  const squaredCosine = 1 / (secant * secant);
  const isOdd = whole % 2 === 1;
  let term = isOdd ? 1 / secant : 1;
  let total = whole === 1 ? 0 : term;
  for (let step = isOdd ? 3 : 2; step < whole - 1; step += 2) {
    term *= (squaredCosine * (step - 1)) / step;
    total += term;
    if (term < total * NEGLIGIBLE) {
      break;
    }
  }
  const twoSided = (tangent / secant) * total;
  return 0.5 + (isOdd ? (Math.atan(tangent) + twoSided) / Math.PI : twoSided / 2);
}

/**
 * @param {number} whole
 * @returns {(at: number) => number}
 */
function studentDensity(whole) {
  // By the rise of the gamma function: of one degree 1/π, of two 1/√8, then two by two.
  let factor = whole % 2 === 1 ? 1 / Math.PI : 1 / Math.sqrt(8);
  for (let dof = whole % 2 === 1 ? 1 : 2; dof < whole; dof += 2) {
    factor *= ((dof + 1) / dof) * Math.sqrt(dof / (dof + 2));
  }
  return (at) => factor * (1 + (at * at) / whole) ** (-(whole + 1) / 2);
}
