/**
 * The reason of a verdict in plain words: those of inventory/engineering/assessment/wording.py.
 *
 * @module
 */
import { decisionOf } from "./element.js";
import { compareFractions, decimalWords, meanOf, THOUSANDTHS } from "./readings.js";
import { WORST_FIRST } from "./vocabulary.js";

/** @typedef {import("./types.js").ColorReadings} ColorReadings */
/** @typedef {import("./types.js").Decision} Decision */
/** @typedef {import("./types.js").ElementPlan} ElementPlan */
/** @typedef {import("./types.js").Fraction} Fraction */
/** @typedef {import("./types.js").Judgement} Judgement */
/** @typedef {import("./types.js").Plan} Plan */
/** @typedef {import("./types.js").Policy} Policy */
/** @typedef {import("./types.js").ReadSet} ReadSet */
/** @typedef {import("./types.js").Verdict} Verdict */

const NEVER_SETTLED = -1;
const MAXIMUM_FURTHER_READINGS = 30;
const NOUGHT = { numerator: 0n, denominator: 1n };

/**
 * Return why an element has its verdict, and what that rests on.
 *
 * @param {Judgement} judgement
 * @param {ReadSet[]} selected
 * @param {Policy} policy
 * @returns {string}
 */
export function elementReason(judgement, selected, policy) {
  const said = [verdictSentence(judgement, policy), ...grounds(judgement, policy)];
  if (judgement.plan.denominator === null) {
    said.push(...unusable(judgement.plan, selected));
  }
  return said.join(" ");
}

/**
 * Return what to mind about the readings an element was judged by, a sentence each.
 *
 * @param {Judgement} judgement
 * @param {Policy} policy
 * @returns {string[]}
 */
export function elementFlags(judgement, policy) {
  const { plan, first, second, verdict, verdicts } = judgement;
  if (first === null || !verdicts.length) {
    return [];
  }
  if (plan.denominator === null) {
    return flagsOfColor(first, verdict, policy);
  }
  return second === null ? [] : flagsOfContrast(first, second);
}

/**
 * Return the readings that stand out of the others, in figures, rising.
 *
 * @param {ColorReadings} read
 * @returns {string[]}
 */
export function outlyingValues(read) {
  const values = read.sets.flatMap((each) => each.thousandths);
  return read.result.outliers
    .map((place) => values[place])
    .sort((one, other) => one - other)
    .map((value) => decimalWords(fractionOf(value)));
}

/**
 * Return a note on colours that were read although the face is not recorded with them.
 *
 * @param {Plan} plan
 * @param {ReadSet[]} selected
 * @param {Policy} policy
 * @returns {string[]}
 */
export function noteOnOtherColors(plan, selected, policy) {
  const known = new Set(plan.elements.map((each) => each.color));
  const other = [...new Set(selected.map((each) => each.color))].filter(
    (color) => !known.has(color),
  );
  if (!other.length) {
    return [];
  }
  const names = other.map((color) => policy.color_words[color]).join(" and ");
  return [`${capital(names)} was read but is no judged colour of this face as recorded.`];
}

/**
 * Return an uncertainty in figures, two of them that count.
 *
 * @param {number} amount
 * @returns {string}
 */
export function uncertaintyWords(amount) {
  return amount > 0 ? fixed(amount, Math.max(0, 1 - Math.floor(Math.log10(amount)))) : "0";
}

/**
 * Return the 95 % interval of a ratio; infinity says that it has no upper bound.
 *
 * @param {number} low
 * @param {number} high
 * @returns {string}
 */
export function intervalWords(low, high) {
  return high === Infinity
    ? `${fixed(low, 2)} and more, no upper bound`
    : `${fixed(low, 2)} to ${fixed(high, 2)}`;
}

/**
 * Return how many further readings would likely settle a verdict; empty when it is decided.
 *
 * @param {number} number
 * @returns {string}
 */
export function furtherWords(number) {
  if (number === 0) {
    return "";
  }
  if (number === NEVER_SETTLED) {
    return "none: the instrument's own uncertainty is too large";
  }
  return number > MAXIMUM_FURTHER_READINGS
    ? `more than ${MAXIMUM_FURTHER_READINGS}`
    : `${number}`;
}

/**
 * Return a mean or a ratio in figures.
 *
 * @param {ElementPlan} plan
 * @param {Fraction} value
 * @param {Fraction | null} [apartFrom]
 * @returns {string}
 */
export function valueWords(plan, value, apartFrom = null) {
  const figures = decimalWords(value, apartFrom);
  return plan.denominator === null ? figures : `${figures}:1`;
}

/**
 * Return a level as it is written; one of the agency's own is always said to be that.
 *
 * @param {ElementPlan} plan
 * @param {number} level in thousandths
 * @returns {string}
 */
export function levelWords(plan, level) {
  const figures = valueWords(plan, fractionOf(level));
  return plan.is_own_level ? `${figures}, the agency's own level` : figures;
}

/**
 * Return thousandths as an exact number.
 *
 * @param {number} thousandths
 * @returns {Fraction}
 */
export function fractionOf(thousandths) {
  return { numerator: BigInt(thousandths), denominator: BigInt(THOUSANDTHS) };
}

/**
 * @param {Judgement} judgement
 * @param {Policy} policy
 * @returns {string}
 */
function verdictSentence(judgement, policy) {
  const { plan, verdict, value } = judgement;
  const name = capital(plan.words);
  if (plan.no_level || plan.not_known) {
    const read = value === null ? "" : ` Read: ${decimalWords(value)} cd/lx/m².`;
    return (plan.no_level || `Undecided: ${plan.not_known}.`) + read;
  }
  const decision = decisionOf(judgement);
  if (verdict === "undecided") {
    return decision
      ? withinGuard(judgement, decision)
      : `Undecided: ${judgement.blame}. ${possibilities(judgement)}`;
  }
  if (verdict === "sheeting not allowed") {
    return `${name}: ${columns(plan)} may not be used for this colour here, whatever it measures.`;
  }
  if (verdict === "no usable reading") {
    return `No usable reading of ${needed(plan, policy)}.`;
  }
  const level = judgement.governing?.level ?? 0;
  if (value === null) {
    // The red reads 0: no ratio can be formed, and none is too small.
    return `${name}: the red reads 0, so the white is over ${levelWords(plan, level)}.`;
  }
  const shown = valueWords(plan, value, fractionOf(level));
  const says = verdict === "meets" ? "meets" : "is below";
  return `${name} ${shown} ${says} ${levelWords(plan, level)}.`;
}

/**
 * Return that a value is too near its level for the agency's guard, and what would help.
 *
 * @param {Judgement} judgement
 * @param {Decision} decision
 * @returns {string}
 */
function withinGuard({ plan, value, governing }, decision) {
  const level = levelWords(plan, governing?.level ?? 0);
  let near = `${plan.words}: the red reads 0, so the ratio has no upper bound`;
  if (decision.interval === null) {
    const guard = uncertaintyWords(decision.guard);
    const shown = valueWords(plan, value ?? NOUGHT);
    near = `${plan.words} ${shown} is within the guard of ${guard} around ${level}`;
  } else if (value !== null) {
    const interval = intervalWords(...decision.interval);
    near = `${plan.words} ${valueWords(plan, value)} is too near ${level} (95 % interval ${interval})`;
  }
  return `Undecided: ${near}. ${furtherSentence(decision.further)}`;
}

/**
 * @param {number} number
 * @returns {string}
 */
function furtherSentence(number) {
  return number === NEVER_SETTLED
    ? "No further readings would settle it: the instrument's own uncertainty is too large."
    : `Further readings that would likely settle it: ${furtherWords(number)}.`;
}

/**
 * Return what the rows that could apply say, each verdict once, worst first.
 *
 * @param {Judgement} judgement
 * @returns {string}
 */
function possibilities({ plan, verdicts, value }) {
  const parts = WORST_FIRST.filter((verdict) => verdicts.includes(verdict)).map((verdict) => {
    const levels = plan.candidates.flatMap(({ level }, at) =>
      verdicts[at] === verdict && level !== null ? [level] : [],
    );
    const rising = [...new Set(levels)].sort((one, other) => one - other);
    const figures = rising.map((level) => levelWords(plan, level)).join(" and ");
    return possibility(verdict, figures);
  });
  const shown = value === null ? "" : ` ${valueWords(plan, value)}`;
  return `${capital(plan.words)}${shown} could be ${parts.join("; or ")}.`;
}

/**
 * @param {Verdict} verdict
 * @param {string} figures
 * @returns {string}
 */
function possibility(verdict, figures) {
  switch (verdict) {
    case "below":
      return `below ${figures}`;
    case "meets":
      return `at or above ${figures}`;
    case "undecided":
      return `within the guard around ${figures}`;
    case "sheeting not allowed":
      return "of sheeting not allowed here";
    default:
      return "without a usable reading";
  }
}

/**
 * @param {ElementPlan} plan
 * @returns {string}
 */
function columns(plan) {
  const found = [...new Set(plan.candidates.map((row) => row.place[0]))];
  return `${found.map((column) => column.replaceAll("-", " Type ")).join(" or ")} sheeting`;
}

/**
 * @param {ElementPlan} plan
 * @param {Policy} policy
 * @returns {string}
 */
function needed(plan, policy) {
  const color = policy.color_words[plan.color];
  return plan.denominator === null
    ? color
    : `both ${color} and ${policy.color_words[plan.denominator]}, for their contrast`;
}

/**
 * Return what the verdict rests on beside the readings.
 *
 * @param {Judgement} judgement
 * @param {Policy} policy
 * @returns {string[]}
 */
function grounds({ plan, verdict, verdicts, blame }, policy) {
  const said = [];
  if (blame && verdict !== "undecided" && verdict !== "no usable reading") {
    const says = new Set(verdicts).size === 1 ? "So" : "It fails";
    said.push(`${says} under every row that could apply (${blame}).`);
  }
  if (plan.is_recommended) {
    said.push(`Level recommended by ${policy.recommended_by}, not binding.`);
  }
  return plan.agency_words ? [...said, plan.agency_words] : said;
}

/**
 * @param {ColorReadings} read
 * @param {Verdict} verdict
 * @param {Policy} policy
 * @returns {string[]}
 */
function flagsOfColor(read, verdict, policy) {
  const said = [];
  const { count } = read.result;
  if (count < policy.usual_reading_count) {
    const number = count === 1 ? "one reading" : `${count} readings`;
    said.push(`Only ${number}; ${policy.usual_reading_count} a colour are usual.`);
  }
  const outlying = outlyingValues(read);
  if (outlying.length) {
    const stands = outlying.length === 1 ? "Reading % stands" : "Readings % stand";
    said.push(
      `${stands.replace("%", outlying.join(" and "))} out of the others and counts in the mean; ` +
        "look at that place again.",
    );
  }
  if (read.sets.some((each) => each.how === "mobile")) {
    said.push("Read from a moving vehicle.");
  }
  if (read.sets.some((each) => each.surface_state === "dirty")) {
    if (verdict === "below") {
      said.push("The face was dirty: clean it and read it again before replacing it.");
    } else if (verdict === "undecided") {
      said.push("The face was dirty: clean it and read it again.");
    }
  }
  return said;
}

/**
 * @param {ColorReadings} white
 * @param {ColorReadings} red
 * @returns {string[]}
 */
function flagsOfContrast(white, red) {
  const said = [];
  const [whiteVisits, redVisits] = [white, red].map(
    ({ sets }) => new Set(sets.map((each) => each.visit)),
  );
  const isSame =
    whiteVisits.size === redVisits.size && [...whiteVisits].every((visit) => redVisits.has(visit));
  if (!isSame) {
    said.push("The two colours were read on different visits.");
  }
  const [whiteMean, redMean] = [white, red].map(({ result }) => meanOf(result.total, result.count));
  if (compareFractions(whiteMean, redMean) < 0) {
    said.push("White reads below red: were the two typed as each other?");
  }
  return said;
}

/**
 * Return why newer readings of a colour were left aside.
 *
 * @param {ElementPlan} plan
 * @param {ReadSet[]} selected
 * @returns {string[]}
 */
function unusable(plan, selected) {
  const reasons = selected
    .filter((each) => each.color === plan.color && each.reason)
    .map((each) => `${each.day}: ${each.reason}`);
  return reasons.length ? [`Kept but not judged: ${[...new Set(reasons)].join("; ")}.`] : [];
}

/**
 * Return a number of 0 or more with so many places, a tie rounded to the even figure.
 *
 * @param {number} amount
 * @param {number} places
 * @returns {string}
 */
function fixed(amount, places) {
  let whole = amount;
  let denominator = 1n;
  while (!Number.isInteger(whole)) {
    whole *= 2;
    denominator *= 2n;
  }
  const scaled = BigInt(whole) * 10n ** BigInt(places);
  const rest = 2n * (scaled % denominator);
  let rounded = scaled / denominator;
  if (rest > denominator || (rest === denominator && rounded % 2n === 1n)) {
    rounded += 1n;
  }
  const digits = rounded.toString().padStart(places + 1, "0");
  return places ? `${digits.slice(0, -places)}.${digits.slice(-places)}` : digits;
}

/**
 * @param {string} text
 * @returns {string}
 */
function capital(text) {
  return text[0].toUpperCase() + text.slice(1);
}
