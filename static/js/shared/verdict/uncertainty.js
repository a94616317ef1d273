/**
 * How sure the mean of several readings is: scatter, instrument, degrees of freedom, outliers.
 *
 * As inventory/engineering/inspection/uncertainty.py and outliers.py, one colour at a time.
 *
 * @module
 */
import { THOUSANDTHS } from "./readings.js";
import { studentQuantile } from "./student.js";

/** @typedef {import("./types.js").ColorResult} ColorResult */
/** @typedef {import("./types.js").StatedUncertainty} StatedUncertainty */

const MAXIMUM_READING_COUNT = 1000;
const OUTLIER_SIGNIFICANCE = 0.05;
const MINIMUM_COUNT_FOR_OUTLIERS = 3;
const COVERAGE_PROBABILITY = 0.95;

/**
 * Return the readings of one colour as one result with its uncertainty.
 *
 * @param {number[]} thousandths one to a thousand readings
 * @param {StatedUncertainty} stated
 * @returns {ColorResult}
 */
export function reduceReadings(thousandths, stated) {
  const count = thousandths.length;
  if (count < 1 || count > MAXIMUM_READING_COUNT) {
    throw new RangeError(
      `There are ${count} readings of one colour; give 1 to ${MAXIMUM_READING_COUNT} to average.`,
    );
  }
  const total = thousandths.reduce((sum, value) => sum + value, 0);
  const mean = total / (count * THOUSANDTHS);
  let scatter = stated.single_scatter_rel * mean;
  let scatterDof = stated.single_scatter_dof ?? Infinity;
  if (count > 1) {
    const squares = thousandths.reduce((sum, value) => sum + BigInt(value) ** 2n, 0n);
    // Exact in whole numbers, so that the order of readings cannot matter.
    const spread = Number(BigInt(count) * squares - BigInt(total) ** 2n);
    const spreadSquared = spread / (count * (count - 1) * THOUSANDTHS ** 2);
    scatter = Math.max(Math.sqrt(spreadSquared), stated.repeatability_rel * mean);
    scatterDof = count - 1;
  }
  return {
    total,
    count,
    scatter,
    scatterDof,
    common: stated.common_rel * mean,
    outliers: findOutliers(thousandths, total, scatter),
  };
}

/**
 * Return the mean as a floating-point number, for statistics only.
 *
 * @param {ColorResult} result
 * @returns {number}
 */
export function floatMean(result) {
  return result.total / (result.count * THOUSANDTHS);
}

/**
 * Return the standard uncertainty of a mean.
 *
 * @param {ColorResult} result
 * @returns {number}
 */
export function standardUncertainty(result) {
  return Math.sqrt(scatterVariance(result) + result.common * result.common);
}

/**
 * Return U of the 95 % interval mean ± U.
 *
 * @param {ColorResult} result
 * @returns {number}
 */
export function expandedUncertainty(result) {
  const parts = [scatterVariance(result), result.common * result.common];
  const dof = welchSatterthwaite(parts, [result.scatterDof, Infinity]);
  return coverageFactor(dof) * standardUncertainty(result);
}

/**
 * Return the factor of a two-sided 95 % interval.
 *
 * @param {number} dof
 * @returns {number}
 */
export function coverageFactor(dof) {
  return studentQuantile(0.5 + COVERAGE_PROBABILITY / 2, dof);
}

/**
 * Return the variance of a mean that comes from scatter.
 *
 * @param {ColorResult} result
 * @returns {number}
 */
export function scatterVariance(result) {
  return (result.scatter * result.scatter) / result.count;
}

/**
 * Return the effective degrees of freedom of a sum of independent contributions
 * (JCGM 100:2008, equation (G.2b)).
 *
 * @param {number[]} variances
 * @param {number[]} dofs
 * @returns {number}
 */
export function welchSatterthwaite(variances, dofs) {
  const whole = variances.reduce((sum, variance) => sum + variance, 0);
  const estimated = variances.reduce(
    (sum, variance, at) => (dofs[at] === Infinity ? sum : sum + (variance * variance) / dofs[at]),
    0,
  );
  return estimated > 0 ? (whole * whole) / estimated : Infinity;
}

/**
 * Return the positions of readings that stand out of the others (Grubbs 1969; ASTM E178).
 *
 * @param {number[]} thousandths
 * @param {number} total
 * @param {number} scatter
 * @returns {number[]}
 */
function findOutliers(thousandths, total, scatter) {
  const count = thousandths.length;
  if (count < MINIMUM_COUNT_FOR_OUTLIERS) {
    return [];
  }
  const t = studentQuantile(1 - OUTLIER_SIGNIFICANCE / (2 * count), count - 2);
  const critical = ((count - 1) / Math.sqrt(count)) * Math.sqrt((t * t) / (count - 2 + t * t));
  const limit = critical * scatter * count * THOUSANDTHS;
  return thousandths.flatMap((value, at) =>
    Math.abs(count * value - total) > limit ? [at] : [],
  );
}
