/**
 * The parts of the readings screen: a card for each colour, the value, and the keypad.
 *
 * @module
 */
import { clear, h, sprite } from "./dom.js";
import { swatch, verdictMark } from "./pieces.js";

/** @typedef {import("./reading_session.js").ReadingSession} ReadingSession */
/** @typedef {import("../shared/verdict/types.js").Answer} Answer */
/** @typedef {import("../shared/verdict/types.js").ElementAnswer} ElementAnswer */

const KEYS = ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "erase"];
/** @type {Record<string, string>} */
const KEY_NAMES = { ".": "decimal point", erase: "erase the last figure" };

/**
 * Return the keypad.
 *
 * @param {(key: string) => unknown} onKey
 * @returns {HTMLElement}
 */
export function keypad(onKey) {
  return h(
    "div",
    { class: "keypad", role: "group", "aria-label": "Keypad" },
    KEYS.map((key) =>
      h(
        "button",
        {
          type: "button",
          class: "key",
          "data-key": key,
          "aria-label": KEY_NAMES[key] ?? null,
          onclick: () => onKey(key),
        },
        key === "erase" ? sprite("erase", "erase-mark") : key,
      ),
    ),
  );
}

/**
 * Return the cards of the colours; a tap on one goes on with it.
 *
 * @param {ReadingSession} session
 * @param {Record<string, string>} words of colours
 * @param {(colour: string) => unknown} onPick
 */
export function colourCards(session, words, onPick) {
  const cards = new Map(
    session.colours.map((colour) => {
      const state = h("span", { class: "card-state" });
      const count = h("span", { class: "card-count" });
      const card = h(
        "button",
        { type: "button", class: "card", "data-colour": colour, onclick: () => onPick(colour) },
        h(
          "span",
          { class: "card-name" },
          swatch(colour),
          h("strong", null, words[colour] ?? colour),
          count,
        ),
        state,
      );
      return [colour, { card, state, count }];
    }),
  );
  return {
    element: h(
      "div",
      { class: "cards", role: "group", "aria-label": "Colours" },
      [...cards.values()].map(({ card }) => card),
    ),
    /** @param {Answer | null} answer */
    show(answer) {
      for (const [colour, { card, state, count }] of cards) {
        const found = answer?.elements.find(
          (each) => each.kind === "color" && each.color === colour,
        );
        card.setAttribute("aria-pressed", String(colour === session.colour));
        const number = session.sets().find((each) => each.color === colour)?.values.length ?? 0;
        count.textContent = `${number} of ${Math.max(session.wanted, number)}`;
        clear(state, cardLines(number, found ?? null));
      }
    },
  };
}

/**
 * @param {number} number of readings of the colour
 * @param {ElementAnswer | null} element
 * @returns {HTMLElement[]}
 */
function cardLines(number, element) {
  if (element === null) {
    return [];
  }
  const level = h(
    "span",
    { class: "small nowrap" },
    element.levelWords ? `level ${element.levelWords}` : "no level",
  );
  return number > 0
    ? [
        h("span", null, h("strong", null, element.meanWords), " ", level),
        verdictMark(element.verdict),
      ]
    : [level];
}

/**
 * Return the value that stands on the keypad, with those kept before it.
 *
 * @param {ReadingSession} session
 * @param {(place: number) => unknown} onChange
 */
export function valueLine(session, onChange) {
  const shown = h("output", { class: "typed", "aria-label": "Value typed" });
  const kept = h("div", {
    class: "kept",
    role: "group",
    "aria-label": "Values kept; tap one to change it",
  });
  return {
    element: h(
      "div",
      { class: "value-line" },
      kept,
      h("span", { class: "typed-box" }, shown, h("span", { class: "small soft" }, "cd/lx/m²")),
    ),
    show() {
      shown.textContent = session.typed || "–";
      shown.classList.toggle("is-empty", session.typed === "");
      clear(
        kept,
        session.valuesOf(session.colour).map((value, place) =>
          h(
            "button",
            {
              type: "button",
              class: "kept-value",
              "aria-label": `Value ${place + 1}: ${value}. Change it`,
              "aria-pressed": String(session.changing === place),
              onclick: () => onChange(place),
            },
            value,
          ),
        ),
      );
    },
  };
}
