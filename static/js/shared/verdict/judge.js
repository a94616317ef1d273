/**
 * The verdict on a face from what was read, by the plan and the rules the server sent along.
 *
 * As inventory/engineering/assessment/judge.py and assess.py; test vectors made by them are run
 * against this module (tests/js/verdict.test.js).
 *
 * @module
 */
import { decisionOf, judgeElement, probabilityRange } from "./element.js";
import { compareFractions } from "./readings.js";
import { expandedUncertainty, reduceReadings } from "./uncertainty.js";
import { selectReadings } from "./usability.js";
import { worstVerdict } from "./vocabulary.js";
import {
  elementFlags,
  elementReason,
  fractionOf,
  furtherWords,
  intervalWords,
  levelWords,
  noteOnOtherColors,
  outlyingValues,
  uncertaintyWords,
  valueWords,
} from "./wording.js";

/** @typedef {import("./types.js").Answer} Answer */
/** @typedef {import("./types.js").ColorReadings} ColorReadings */
/** @typedef {import("./types.js").ElementAnswer} ElementAnswer */
/** @typedef {import("./types.js").Judgement} Judgement */
/** @typedef {import("./types.js").Plan} Plan */
/** @typedef {import("./types.js").Policy} Policy */
/** @typedef {import("./types.js").ReadSet} ReadSet */
/** @typedef {import("./types.js").TypedSet} TypedSet */
/** @typedef {import("./types.js").Verdict} Verdict */

const UNVERIFIED_NOTE = "A level this rests on is unverified.";

/**
 * Return the verdict on a face: its worst deciding element, with the reason.
 *
 * @param {Plan} plan from carry_plan
 * @param {TypedSet[]} readings everything read; what is read now leaves out at_us, day, visit
 * @param {Policy} policy from carry_rules
 * @returns {Answer}
 * @throws {RangeError} if a value is not a reading; the message is the server's sentence
 */
export function judge(plan, readings, policy) {
  const selected = selectReadings(readings, policy);
  const notJudged = selected
    .filter((each) => each.reason)
    .map(({ color, reason }) => ({ color, reason }));
  if (plan.excluded) {
    return answer("excluded", plan.excluded, [], [], notJudged);
  }
  const read = reduceByColor(selected, policy);
  const judgements = plan.elements.map((element) => judgeElement(element, read, policy));
  const elements = judgements.map((each) => elementAnswer(each, selected, policy));
  const { verdict, reason } = ofFace(plan, judgements, elements);
  const notes = [...plan.notes, ...noteOnOtherColors(plan, selected, policy)];
  const said = elements.filter(
    (each) => each.decides && (verdict === each.verdict || verdict === "meets"),
  );
  if (said.some((each) => restsOnUnverified(each, policy))) {
    notes.push(UNVERIFIED_NOTE);
  }
  return answer(verdict, [reason, ...notes].join(" "), elements, judgements, notJudged);
}

/**
 * @param {Verdict} verdict
 * @param {string} reason
 * @param {ElementAnswer[]} elements
 * @param {Judgement[]} judgements
 * @param {{ color: string, reason: string }[]} notJudged
 * @returns {Answer}
 */
function answer(verdict, reason, elements, judgements, notJudged) {
  const [low, high] = probabilityBounds(judgements);
  return {
    verdict,
    reason,
    elements,
    probability_low: low,
    probability_high: high,
    not_judged: notJudged,
  };
}

/**
 * @param {ReadSet[]} selected
 * @param {Policy} policy
 * @returns {Map<string, ColorReadings>}
 */
function reduceByColor(selected, policy) {
  const usable = selected.filter((each) => !each.reason);
  const colors = [...new Set(usable.map((each) => each.color))];
  return new Map(
    colors.map((color) => {
      const sets = usable.filter((each) => each.color === color);
      const thousandths = sets.flatMap((each) => each.thousandths);
      return [color, { result: reduceReadings(thousandths, policy.uncertainty), sets }];
    }),
  );
}

/**
 * Return the bounds of the probability that every deciding element meets its level; null where
 * nothing was compared with a level.
 *
 * @param {Judgement[]} judgements
 * @returns {[number, number] | [null, null]}
 */
function probabilityBounds(judgements) {
  const deciding = judgements.filter((each) => each.plan.decides);
  const ranges = deciding.map(probabilityRange).filter((each) => each !== null);
  if (!ranges.length || !deciding.some((each) => each.decisions.size)) {
    return [null, null];
  }
  const missing = ranges.reduce((sum, [low]) => sum + (1 - low), 0);
  const leastLow = Math.min(...ranges.map(([low]) => low));
  const leastHigh = Math.min(...ranges.map(([, high]) => high));
  return [Math.min(Math.max(1 - missing, 0), leastLow), leastHigh];
}

/**
 * @param {Judgement} judgement
 * @param {ReadSet[]} selected
 * @param {Policy} policy
 * @returns {ElementAnswer}
 */
function elementAnswer(judgement, selected, policy) {
  const { plan, governing, first, second, verdict, value } = judgement;
  const decision = decisionOf(judgement);
  const [anyDecision] = judgement.decisions.values();
  const interval = anyDecision?.interval ?? null;
  const isColor = plan.denominator === null;
  const U = isColor && first ? expandedUncertainty(first.result) : null;
  const level = governing?.level ?? null;
  const further = decision && verdict === "undecided" ? decision.further : null;
  return {
    name: plan.name,
    kind: plan.kind,
    color: plan.color,
    words: plan.words,
    verdict,
    reason: elementReason(judgement, selected, policy),
    decides: plan.decides,
    level,
    levelWords: level === null ? "" : levelWords(plan, level),
    value: exactValue(judgement),
    meanWords: value ? valueWords(plan, value, level === null ? null : fractionOf(level)) : "",
    spreadWords: interval
      ? intervalWords(...interval)
      : U === null
        ? ""
        : `± ${uncertaintyWords(U)}`,
    p: decision?.p ?? null,
    U,
    low: interval ? interval[0] : null,
    high: interval && interval[1] !== Infinity ? interval[1] : null,
    further,
    furtherWords: further === null ? "" : furtherWords(further),
    table_id: plan.candidates[0]?.table_id ?? "",
    row_id: governing?.row_id ?? "",
    tableWords: plan.table_words,
    checked: governing?.checked ?? "",
    isVerified: plan.is_own_level || !governing || governing.checked === "yes",
    count: judgement.count,
    flags: elementFlags(judgement, policy),
    spread: isColor && first && !second ? outlyingValues(first) : [],
  };
}

/**
 * @param {Judgement} judgement
 * @returns {ElementAnswer["value"]}
 */
function exactValue({ plan, first, second, value }) {
  if (first === null || value === null) {
    return null;
  }
  const sum = { sum: first.result.total, count: first.result.count };
  if (plan.denominator === null || second === null) {
    return sum;
  }
  return { white: sum, red: { sum: second.result.total, count: second.result.count } };
}

/**
 * @param {Plan} plan
 * @param {Judgement[]} judgements
 * @param {ElementAnswer[]} elements
 * @returns {{ verdict: Verdict, reason: string }}
 */
function ofFace(plan, judgements, elements) {
  const deciding = elements.filter((each) => each.decides);
  if (!deciding.length) {
    const unknown = plan.not_known || "colours not known";
    return { verdict: "undecided", reason: `Undecided: ${unknown}.` };
  }
  const verdict = worstVerdict(deciding.map((each) => each.verdict));
  if (verdict !== "meets") {
    const reasons = deciding.filter((each) => each.verdict === verdict).map(reasonWithFlags);
    return { verdict, reason: [...new Set(reasons)].join(" ") };
  }
  const closest = reasonWithFlags(closestOf(judgements, elements));
  const reason =
    deciding.length === 1
      ? closest
      : `Every colour and contrast meets its level; the closest: ${closest}`;
  return { verdict, reason };
}

/**
 * Return the deciding element whose value is the least part of its level.
 *
 * @param {Judgement[]} judgements
 * @param {ElementAnswer[]} elements
 * @returns {ElementAnswer}
 */
function closestOf(judgements, elements) {
  const ratios = judgements.map(({ value, governing }) => {
    if (!value || !governing?.level) {
      return null;
    }
    const level = fractionOf(governing.level);
    return {
      numerator: value.numerator * level.denominator,
      denominator: value.denominator * level.numerator,
    };
  });
  const places = elements.flatMap((each, at) => (each.decides ? [at] : []));
  const closest = places.reduce((best, at) => {
    const [ratio, least] = [ratios[at], ratios[best]];
    const isCloser = ratio && (!least || compareFractions(ratio, least) < 0);
    return isCloser ? at : best;
  });
  return elements[closest];
}

/**
 * @param {ElementAnswer} element
 * @returns {string}
 */
function reasonWithFlags(element) {
  return [element.reason, ...element.flags].join(" ");
}

/**
 * Return whether a published row that was not compared with its source decided an element.
 *
 * @param {ElementAnswer} element
 * @param {Policy} policy
 * @returns {boolean}
 */
function restsOnUnverified(element, policy) {
  return (
    element.verdict !== "no usable reading" &&
    element.verdict !== "no level" &&
    element.table_id !== policy.agency_table &&
    element.checked !== "" &&
    element.checked !== "yes"
  );
}
