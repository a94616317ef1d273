/**
 * What several screens are made of: the bar of the one action, notices, choices, lines of signs.
 *
 * @module
 */
import { drawing, h, sprite } from "./dom.js";

/** @typedef {import("./dom.js").Pieces} Pieces */

/**
 * Return the bar of a screen's one primary action, within reach of the thumb.
 *
 * @param {...Pieces} children
 * @returns {HTMLElement}
 */
export function actBar(...children) {
  return h("div", { class: "act" }, ...children);
}

/**
 * Return the one primary action, as a button.
 *
 * @param {string} words a verb and a noun
 * @param {(event: Event) => unknown} onTap
 * @param {import("./dom.js").Props} [props]
 * @returns {HTMLButtonElement}
 */
export function primaryButton(words, onTap, props = {}) {
  return h("button", { type: "button", class: "button primary", onclick: onTap, ...props }, words);
}

/**
 * Return the one primary action, as a link to another screen or page.
 *
 * @param {string} words a verb and a noun
 * @param {string} hash
 * @returns {HTMLAnchorElement}
 */
export function primaryLink(words, hash) {
  return h("a", { class: "button primary", href: hash }, words);
}

/**
 * Return a link that looks like a button.
 *
 * @param {string} words
 * @param {string} hash
 * @returns {HTMLAnchorElement}
 */
export function linkButton(words, hash) {
  return h("a", { class: "button", href: hash }, words);
}

/**
 * Return a boxed word of warning or advice.
 *
 * @param {"" | "warn" | "stop"} kind
 * @param {...Pieces} children
 * @returns {HTMLElement}
 */
export function notice(kind, ...children) {
  return h("div", { class: kind ? `notice ${kind}` : "notice" }, ...children);
}

/**
 * Return how a sign stands: the mark and its word.
 *
 * @param {string} mark key of the mark, such as `below`
 * @param {string} word
 * @returns {HTMLElement}
 */
export function standingMark(mark, word) {
  return h(
    "span",
    { class: `standing mark-${mark}` },
    sprite(`mark-${mark}`, "mark"),
    h("span", { class: "word" }, word),
  );
}

/**
 * Return the mark of a verdict; the mark's key is its word with hyphens.
 *
 * @param {string} verdict such as `no usable reading`
 * @returns {HTMLElement}
 */
export function verdictMark(verdict) {
  return standingMark(verdict.replaceAll(" ", "-"), verdict);
}

/**
 * Return a face's drawing, no larger than a square; a dashed frame where there is none.
 *
 * @param {string | null | undefined} svg
 * @param {"small" | "large"} [size]
 * @returns {Element}
 */
export function facePicture(svg, size = "small") {
  return h("span", { class: `face ${size}` }, drawing(svg) ?? h("span", { class: "no-face" }, "?"));
}

/**
 * Return a section with its heading.
 *
 * @param {string} heading
 * @param {...Pieces} children
 * @returns {HTMLElement}
 */
export function section(heading, ...children) {
  return h("section", null, h("h2", null, heading), ...children);
}

/**
 * Return a labelled input, with what helps to fill it.
 *
 * @param {string} label
 * @param {HTMLElement} input needs an id
 * @param {string} [hint]
 * @returns {HTMLElement}
 */
export function field(label, input, hint = "") {
  const hintId = `${input.id}-hint`;
  if (hint) {
    input.setAttribute("aria-describedby", hintId);
  }
  return h(
    "div",
    { class: "field" },
    h("label", { for: input.id }, label),
    input,
    hint ? h("span", { class: "hint", id: hintId }, hint) : null,
  );
}

/**
 * Return a group of large choices, one of them taken with one tap.
 *
 * @param {object} given
 * @param {string} given.name of the group; one of its kind on a screen
 * @param {string} given.legend
 * @param {[string, string][]} given.choices value and words
 * @param {string | null} given.value what is taken at first; null: nothing
 * @param {(value: string) => unknown} [given.onPick]
 * @param {boolean} [given.isColumn] one below the other
 * @param {boolean} [given.isLegendHidden] shown to a screen reader only
 * @returns {HTMLFieldSetElement}
 */
export function chips({ name, legend, choices, value, onPick, isColumn, isLegendHidden }) {
  return h(
    "fieldset",
    { class: "chips" },
    h("legend", { class: isLegendHidden ? "visually-hidden" : null }, legend),
    h(
      "div",
      { class: isColumn ? "chip-column" : "chip-row" },
      choices.map(([key, words]) =>
        h(
          "label",
          { class: "chip" },
          h("input", {
            type: "radio",
            name,
            value: key,
            checked: key === value,
            onchange: () => onPick?.(key),
          }),
          h("span", null, words),
        ),
      ),
    ),
  );
}

/**
 * Return a sign's colour as a snippet of sheeting, a corner cut off.
 *
 * @param {string} color
 * @returns {SVGSVGElement}
 */
export function swatch(color) {
  const drawn = sprite("snippet", `swatch sheet-${color}`);
  drawn.setAttribute("viewBox", "0 0 20 20");
  return drawn;
}
