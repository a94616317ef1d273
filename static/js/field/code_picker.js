/**
 * Finding a sign's code among those the phone carries, by code or by name.
 *
 * @module
 */
import { clear, h } from "./dom.js";
import { normaliseCode } from "./fits.js";
import { field } from "./pieces.js";

const MOST_SHOWN = 8;

/** @typedef {[string, string, ...unknown[]]} KnownCode code, name, and more */

/**
 * Return the codes that what was typed could mean: those it begins first, then by name.
 *
 * @param {KnownCode[]} codes
 * @param {string} typed
 * @returns {KnownCode[]}
 */
export function findCodes(codes, typed) {
  const wanted = normaliseCode(typed);
  if (!wanted) {
    return [];
  }
  const words = typed.toLowerCase().split(/\s+/).filter(Boolean);
  const exact = codes.filter(([code]) => normaliseCode(code) === wanted);
  const begun = codes.filter(([code]) => normaliseCode(code).startsWith(wanted));
  const named = codes.filter(
    ([, name]) => words.every((word) => name.toLowerCase().includes(word)),
  );
  return [...new Set([...exact, ...begun, ...named])];
}

/** A field for a code with what it could mean below; a code nobody knows is kept as typed. */
export class CodePicker {
  /**
   * @param {KnownCode[]} codes
   * @param {string} value
   */
  constructor(codes, value) {
    this.codes = codes;
    this.input = h("input", {
      type: "text",
      id: "sign_code",
      name: "sign_code",
      value,
      maxlength: 24,
      autocomplete: "off",
      autocapitalize: "characters",
      spellcheck: "false",
      oninput: () => this.draw(),
    });
    this.list = h("ul", { class: "plain codes" });
    this.status = h("p", { class: "small soft", role: "status" });
    this.element = h(
      "div",
      { class: "stack-small" },
      field("Code, or a word of its name", this.input, "Empty: the code is not known."),
      this.status,
      this.list,
    );
    this.draw();
  }

  /** @returns {string} */
  get value() {
    return this.input.value.trim();
  }

  draw() {
    const found = findCodes(this.codes, this.value);
    const [first] = found;
    const isPicked = first && normaliseCode(first[0]) === normaliseCode(this.value);
    const shown = isPicked ? [] : found.slice(0, MOST_SHOWN);
    this.status.textContent = isPicked
      ? first[1]
      : !this.value
        ? ""
        : found.length > MOST_SHOWN
          ? `${found.length} codes, the first ${MOST_SHOWN}:`
          : found.length === 0
            ? "No such code on this phone. It is kept as you typed it."
            : "";
    clear(
      this.list,
      shown.map(([code, name]) =>
        h(
          "li",
          null,
          h(
            "button",
            { type: "button", class: "button code-choice", onclick: () => this.pick(code) },
            h("strong", null, code),
            ` ${name}`,
          ),
        ),
      ),
    );
  }

  /** @param {string} code */
  pick(code) {
    this.input.value = code;
    this.input.dispatchEvent(new Event("input", { bubbles: true }));
    this.input.focus();
  }
}
