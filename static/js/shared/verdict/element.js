/**
 * One element of a face under every row that could apply: exact, without words.
 *
 * As inventory/engineering/assessment/judge.py and batch.py.
 *
 * @module
 */
import { decideContrast, decideLevel } from "./decision.js";
import { meanOf } from "./readings.js";
import { isOneSession } from "./usability.js";

/** @typedef {import("./types.js").Candidate} Candidate */
/** @typedef {import("./types.js").ColorReadings} ColorReadings */
/** @typedef {import("./types.js").Decision} Decision */
/** @typedef {import("./types.js").ElementPlan} ElementPlan */
/** @typedef {import("./types.js").Fraction} Fraction */
/** @typedef {import("./types.js").Judgement} Judgement */
/** @typedef {import("./types.js").Policy} Policy */
/** @typedef {import("./types.js").Verdict} Verdict */

const AXES = ["sheeting", "mount", "size"];
const FAILING = ["below", "sheeting not allowed"];

/**
 * Return what the rows that could apply say of one element.
 *
 * @param {ElementPlan} plan
 * @param {Map<string, ColorReadings>} read
 * @param {Policy} policy
 * @returns {Judgement}
 */
export function judgeElement(plan, read, policy) {
  const first = read.get(plan.color) ?? null;
  const second = plan.denominator === null ? null : (read.get(plan.denominator) ?? null);
  const { value, count } = valueOf(plan, first, second);
  const judgement = { plan, first, second, value, count };
  if (plan.no_level || plan.not_known) {
    return {
      ...judgement,
      verdict: plan.no_level ? "no level" : "undecided",
      verdicts: [],
      decisions: new Map(),
      governing: null,
      blame: "",
    };
  }
  const decisions = decideAll(plan, first, second, policy);
  const verdicts = plan.candidates.map((row) => verdictUnder(row, decisions));
  const verdict = agreed(verdicts);
  return {
    ...judgement,
    verdict,
    verdicts,
    decisions,
    governing: governingRow(verdict, verdicts, plan.candidates),
    blame: blameOf(plan, verdicts),
  };
}

/**
 * Return the exact mean or ratio and how many readings it rests on (the fewer of two).
 *
 * @param {ElementPlan} plan
 * @param {ColorReadings | null} first
 * @param {ColorReadings | null} second
 * @returns {{ value: Fraction | null, count: number }}
 */
function valueOf(plan, first, second) {
  if (first === null || (plan.denominator !== null && second === null)) {
    return { value: null, count: 0 };
  }
  const mean = meanOf(first.result.total, first.result.count);
  if (second === null) {
    return { value: mean, count: first.result.count };
  }
  const count = Math.min(first.result.count, second.result.count);
  if (second.result.total === 0) {
    return { value: null, count };
  }
  const under = meanOf(second.result.total, second.result.count);
  const value = {
    numerator: mean.numerator * under.denominator,
    denominator: mean.denominator * under.numerator,
  };
  return { value, count };
}

/**
 * Return the decision under each level that could apply; none where there is no value.
 *
 * @param {ElementPlan} plan
 * @param {ColorReadings | null} first
 * @param {ColorReadings | null} second
 * @param {Policy} policy
 * @returns {Map<number, Decision>}
 */
function decideAll(plan, first, second, policy) {
  const required = policy.rule.required_probability;
  /** @type {Map<number, Decision>} */
  const decisions = new Map();
  if (first === null || (plan.denominator !== null && second === null)) {
    return decisions;
  }
  if (second !== null && first.result.total === 0 && second.result.total === 0) {
    return decisions;
  }
  for (const { level } of plan.candidates) {
    if (level === null || decisions.has(level)) {
      continue;
    }
    const decision =
      second === null
        ? decideLevel(first.result, level, required)
        : decideContrast(
            first.result,
            second.result,
            level,
            isOneSession([...first.sets, ...second.sets]),
            required,
          );
    decisions.set(level, decision);
  }
  return decisions;
}

/**
 * @param {Candidate} row
 * @param {Map<number, Decision>} decisions
 * @returns {Verdict}
 */
function verdictUnder(row, decisions) {
  if (row.level === null) {
    return "sheeting not allowed";
  }
  return decisions.get(row.level)?.verdict ?? "no usable reading";
}

/**
 * Return what several rows agree on; a face that fails under each of them fails.
 *
 * @param {Verdict[]} verdicts
 * @returns {Verdict}
 */
function agreed(verdicts) {
  if (new Set(verdicts).size === 1) {
    return verdicts[0];
  }
  return verdicts.every((each) => FAILING.includes(each)) ? "below" : "undecided";
}

/**
 * Return the row a verdict is stated with; null where no one row states it.
 *
 * @param {Verdict} verdict
 * @param {Verdict[]} verdicts
 * @param {Candidate[]} rows
 * @returns {Candidate | null}
 */
function governingRow(verdict, verdicts, rows) {
  if (verdict === "sheeting not allowed") {
    return rows[0];
  }
  if (verdict === "undecided" && new Set(verdicts).size > 1) {
    return null;
  }
  if (verdict === "no usable reading" && new Set(rows.map((row) => row.level)).size > 1) {
    return null;
  }
  const sign = verdict === "below" ? -1 : 1;
  return rows
    .filter((row) => row.level !== null)
    .reduce((chosen, row) =>
      sign * ((row.level ?? 0) - (chosen.level ?? 0)) > 0 ? row : chosen,
    );
}

/**
 * Return which unknowns make the rows differ in verdict; failing that, all of them.
 *
 * @param {ElementPlan} plan
 * @param {Verdict[]} verdicts
 * @returns {string}
 */
function blameOf(plan, verdicts) {
  /** @type {Set<number>} */
  const differing = new Set();
  /** @type {Set<number>} */
  const several = new Set();
  const rows = plan.candidates;
  rows.forEach((one, at) => {
    rows.slice(at + 1).forEach((other, further) => {
      const apart = one.place.flatMap((word, axis) => (word === other.place[axis] ? [] : [axis]));
      apart.forEach((axis) => several.add(axis));
      if (apart.length === 1 && verdicts[at] !== verdicts[at + 1 + further]) {
        differing.add(apart[0]);
      }
    });
  });
  const wanted = [...(differing.size ? differing : several)].map((axis) => AXES[axis]);
  return plan.unknown
    .filter(([axis]) => wanted.includes(axis))
    .map(([, words]) => words)
    .join(" and ");
}

/**
 * Return between what the probability of meeting lies; null where there is no level.
 *
 * @param {Judgement} judgement
 * @returns {[number, number] | null}
 */
export function probabilityRange({ plan, verdicts, decisions }) {
  if (plan.no_level) {
    return null;
  }
  if (!verdicts.length) {
    return [0, 1];
  }
  const ranges = plan.candidates.map(({ level }) => {
    if (level === null) {
      return [0, 0];
    }
    const decision = decisions.get(level);
    return decision ? [decision.p, decision.p] : [0, 1];
  });
  return [
    Math.min(...ranges.map(([low]) => low)),
    Math.max(...ranges.map(([, high]) => high)),
  ];
}

/**
 * Return the decision under the governing row; null where nothing was read.
 *
 * @param {Judgement} judgement
 * @returns {Decision | null}
 */
export function decisionOf({ governing, decisions }) {
  if (governing === null || governing.level === null) {
    return null;
  }
  return decisions.get(governing.level) ?? null;
}
