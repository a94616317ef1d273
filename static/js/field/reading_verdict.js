/**
 * What stands beside the keypad: how the sign stands by what is typed, and what to mind.
 *
 * @module
 */
import { h } from "./dom.js";
import { verdictMark } from "./pieces.js";
import { spreadWarning } from "./reading_session.js";

/** @typedef {import("./reading_session.js").ReadingSession} ReadingSession */
/** @typedef {import("../shared/verdict/types.js").Answer} Answer */

/**
 * Return the verdict of the sign with the ratio of its colours, and the warnings.
 *
 * @param {ReadingSession} session
 * @param {Answer | null} answer null where the levels are not on this phone
 * @param {Record<string, string>} words of colours
 * @param {number | null | undefined} most_rel by what share of their mean values may differ
 * @returns {(HTMLElement | null)[]}
 */
export function verdictPieces(session, answer, words, most_rel) {
  const now = session.sets();
  const values = now.find((each) => each.color === session.colour)?.values ?? [];
  const name = colourWords(words, session.colour);
  const spread = spreadWarning(name.charAt(0).toUpperCase() + name.slice(1), values, most_rel);
  if (answer === null) {
    const unknown = "The levels of this face are not on this phone; the server judges it.";
    return [h("p", { class: "small soft" }, unknown), spread ? caution(spread) : null];
  }
  const reason = answer.not_judged.find(({ color }) => now.some((each) => each.color === color));
  // Fewer than four values are said by their number already, while they are being typed.
  const isWhole = values.length >= session.wanted;
  const flags = answer.elements
    .filter((each) => isWhole && each.kind === "color" && each.color === session.colour)
    .flatMap((each) => each.flags);
  return [
    now.length > 0 ? verdictNow(answer) : null,
    reason ? caution(`Kept but not judged: ${reason.reason}.`) : null,
    ...flags.map(caution),
    spread && flags.length === 0 ? caution(spread) : null,
  ];
}

/**
 * Return what a colour is called.
 *
 * @param {Record<string, string>} words
 * @param {string} colour
 * @returns {string}
 */
export function colourWords(words, colour) {
  return words[colour] ?? colour.replaceAll("-", " ");
}

/**
 * @param {Answer} answer
 * @returns {HTMLElement}
 */
function verdictNow(answer) {
  const ratio = answer.elements.find((each) => each.kind !== "color" && each.meanWords);
  return h(
    "p",
    { class: "verdict-now" },
    h("span", null, "The sign:"),
    verdictMark(answer.verdict),
    ratio
      ? h(
          "span",
          { class: "small" },
          `${ratio.words} ${ratio.meanWords}, level ${ratio.levelWords}`,
        )
      : null,
  );
}

/**
 * @param {string} sentence
 * @returns {HTMLElement}
 */
function caution(sentence) {
  return h("p", { class: "small caution" }, sentence);
}
