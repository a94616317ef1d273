/**
 * The state of the face while it is read: said by the person, never taken for granted.
 *
 * @module
 */
import { clear, h } from "./dom.js";
import { chips } from "./pieces.js";

const REMEMBERED = "surface_state";
/** What is wet is one of these; the first is meant by a plain Wet. */
const WET = ["damp", "dew", "frost"];
/** @type {[string, string][]} */
const STATES = [
  ["dry", "Dry"],
  ["wet", "Wet"],
  ["dirty", "Dirty"],
  ["cleaned", "Cleaned"],
];

/**
 * @typedef {object} SurfaceChoice
 * @property {HTMLElement} element
 * @property {() => string} value "" while it was not said
 * @property {() => void} remember for the next sign; only dry is: the rest is of one face
 */

/**
 * Return the choice; dry is remembered until the page is closed.
 *
 * @param {import("./page.js").App} app
 * @param {string} given what was said before
 * @param {() => unknown} onChange
 * @returns {SurfaceChoice}
 */
export function surfaceChoice(app, given, onChange) {
  const { memory } = app;
  let state = given || memory.get(REMEMBERED) || "";
  const wetness = h("div", { class: "wetness" });
  const showWetness = () => {
    if (WET.includes(state)) {
      clear(wetness, wetnessChips(state, pick));
    } else {
      clear(wetness);
    }
  };
  /** @param {string} picked */
  const pick = (picked) => {
    state = picked === "wet" ? WET[0] : picked;
    if (!(WET.includes(picked) && wetness.hasChildNodes())) {
      showWetness();
    }
    onChange();
  };
  const first = chips({
    name: "surface",
    legend: "The face is",
    choices: STATES,
    value: WET.includes(state) ? "wet" : state,
    onPick: pick,
    isLegendHidden: true,
  });
  first.classList.add("segments");
  showWetness();
  return {
    element: h("div", { class: "surface" }, first, wetness),
    value: () => state,
    remember: () => {
      if (state === "dry") {
        memory.set(REMEMBERED, state);
      } else {
        memory.delete(REMEMBERED);
      }
    },
  };
}

/**
 * @param {string} state
 * @param {(picked: string) => void} pick
 * @returns {HTMLElement}
 */
function wetnessChips(state, pick) {
  const element = chips({
    name: "wetness",
    legend: "How wet",
    choices: WET.map((each) => /** @type {[string, string]} */ ([each, each])),
    value: state,
    onPick: pick,
    isLegendHidden: true,
  });
  element.classList.add("segments");
  return element;
}
