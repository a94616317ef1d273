/**
 * Which verdicts are worse than others.
 *
 * @module
 */

/** @typedef {import("./types.js").Verdict} Verdict */

/**
 * Worst first: what certainly fails, then what may fail, then what says nothing.
 *
 * @type {Verdict[]}
 */
export const WORST_FIRST = [
  "sheeting not allowed",
  "below",
  "undecided",
  "no usable reading",
  "no level",
  "meets",
  "excluded",
];

/**
 * Return the worst of several verdicts.
 *
 * @param {Verdict[]} verdicts at least one
 * @returns {Verdict}
 */
export function worstVerdict(verdicts) {
  return verdicts.reduce((worst, each) =>
    WORST_FIRST.indexOf(each) < WORST_FIRST.indexOf(worst) ? each : worst,
  );
}
