/**
 * Whether an instrument is within its tolerance, by whole numbers as the server does it
 * (engineering/inspection/instruments.py): a difference equal to the tolerance is good.
 *
 * @module
 */

import { toThousandths } from "../shared/readings.js";

const PERCENT = 100;
const MOST_RA_CD_LX_M2 = 2000;
const THOUSANDTHS = 1000;

/**
 * @typedef {object} CheckResult
 * @property {boolean} isGood
 * @property {string} offWords by how much it is off, such as "2.4 % low"
 * @property {string} toleranceWords
 */

/**
 * Return what a check shows, or a sentence saying what is wrong with what was typed.
 *
 * @param {string} reference R_A of the reference as typed [cd/lx/m²]
 * @param {string} shown what the instrument showed, as typed [cd/lx/m²]
 * @param {number | null} tolerance_rel
 * @returns {{ result: CheckResult | null, sentence: string }}
 */
export function checkResult(reference, shown, tolerance_rel) {
  for (const [typed, name] of [
    [reference, "The reference’s value"],
    [shown, "What the instrument showed"],
  ]) {
    const sentence = wrongWith(typed, name);
    if (sentence) {
      return { result: null, sentence };
    }
  }
  if (tolerance_rel === null) {
    return {
      result: null,
      sentence:
        "It is not known by how much this instrument may be off, so a check cannot be judged. " +
        "Your engineer sets its tolerance from the instrument’s instructions.",
    };
  }
  const wanted = BigInt(/** @type {number} */ (toThousandths(reference)));
  const found = BigInt(/** @type {number} */ (toThousandths(shown)));
  if (wanted === 0n) {
    return {
      result: null,
      sentence: `The reference is given as ${reference.trim()}; a reference returns more than 0. Type the value on its certificate.`,
    };
  }
  const off = found > wanted ? found - wanted : wanted - found;
  const tolerance = decimalRatio(tolerance_rel);
  const side = found === wanted ? "" : found > wanted ? " high" : " low";
  return {
    result: {
      isGood: off * tolerance.scale <= tolerance.value * wanted,
      offWords: side ? `${percentWords(off, wanted, tolerance)} %${side}` : "just as the reference",
      toleranceWords: `${percentWords(tolerance.value, tolerance.scale, null)} %`,
    },
    sentence: "",
  };
}

/**
 * @param {string} typed
 * @param {string} name
 * @returns {string}
 */
function wrongWith(typed, name) {
  const text = typed.trim();
  if (!text) {
    return `${name} is not typed yet.`;
  }
  const value = toThousandths(text);
  if (value === null) {
    return `${name} is “${text}”, which is not a number of at most three decimals; write it like 35.0.`;
  }
  if (value > MOST_RA_CD_LX_M2 * THOUSANDTHS) {
    return `${name} is ${text} cd/lx/m², over ${MOST_RA_CD_LX_M2}, more than any sheeting returns; check the decimal point.`;
  }
  return "";
}

/**
 * Return a decimal as it is written, as a whole number over a power of ten.
 *
 * @param {number} number over 0
 * @returns {{ value: bigint, scale: bigint }}
 */
function decimalRatio(number) {
  const [digits, exponent = "0"] = String(number).split("e");
  const [whole, rest = ""] = digits.split(".");
  const places = rest.length - Number(exponent);
  const value = BigInt(whole + rest);
  return places >= 0
    ? { value, scale: 10n ** BigInt(places) }
    : { value: value * 10n ** BigInt(-places), scale: 1n };
}

/**
 * Return a share in per cent with one decimal, or with as many as tell it from the tolerance:
 * two exact shares that differ do so after some decimals.
 *
 * @param {bigint} part
 * @param {bigint} whole
 * @param {{ value: bigint, scale: bigint } | null} apartFrom
 * @returns {string}
 */
function percentWords(part, whole, apartFrom) {
  for (let places = 1; ; places += 1) {
    const unit = 10n ** BigInt(places);
    const scaled = rounded(part * BigInt(PERCENT) * unit, whole);
    const isTie = apartFrom !== null && part * apartFrom.scale === apartFrom.value * whole;
    const isApart =
      apartFrom === null ||
      isTie ||
      scaled !== rounded(apartFrom.value * BigInt(PERCENT) * unit, apartFrom.scale);
    if (isApart) {
      const rest = String(scaled % unit).padStart(places, "0");
      const words = `${scaled / unit}.${rest}`;
      return apartFrom === null ? words.replace(/\.0$/, "") : words;
    }
  }
}

/**
 * @param {bigint} value
 * @param {bigint} by
 * @returns {bigint} the quotient, half up
 */
function rounded(value, by) {
  return (value * 2n + by) / (by * 2n);
}
