/**
 * A label, typed or scanned.
 *
 * @module
 */
import { clear, h } from "./dom.js";
import { labelInCode } from "./label_codes.js";
import { field, notice } from "./pieces.js";

/** @typedef {import("./page.js").App} App */

/** A field for a label with a button that scans it. */
export class LabelField {
  /**
   * @param {App} app
   * @param {{ id: string, label: string, value: string, onChange?: () => void }} given
   */
  constructor(app, { id, label, value, onChange = () => undefined }) {
    this.app = app;
    this.input = h("input", {
      type: "text",
      id,
      name: id,
      value,
      maxlength: 40,
      autocomplete: "off",
      autocapitalize: "characters",
      spellcheck: "false",
      placeholder: "001-0JK",
      oninput: onChange,
    });
    this.view = h("div", { class: "stack-small", role: "status" });
    /** @type {AbortController | null} */
    this.looking = null;
    this.button = h("button", { type: "button", class: "button", onclick: () => this.toggle() }, "Scan the label");
    this.element = h("div", { class: "stack-small" }, field(label, this.input), this.button, this.view);
    app.leaving().addEventListener("abort", () => this.stop());
  }

  /** @returns {string} */
  get value() {
    return this.input.value;
  }

  /** @param {string} text */
  fill(text) {
    this.input.value = text;
    this.input.dispatchEvent(new Event("input", { bubbles: true }));
  }

  async toggle() {
    if (this.looking) {
      this.stop();
      return;
    }
    this.looking = new AbortController();
    this.button.textContent = "Stop scanning";
    clear(this.view, h("p", null, "Starting the camera…"));
    try {
      // The reader of codes is large: fetched when somebody scans.
      const { startScanner } = await import("./scanner.js");
      const { video } = await startScanner(this.looking.signal, (text) => this.read(text));
      clear(this.view, video);
    } catch (error) {
      this.stop();
      clear(this.view, notice("warn", h("p", null, error instanceof Error ? error.message : String(error))));
    }
  }

  /** @param {string} text of a code the camera saw */
  read(text) {
    const { label } = labelInCode(text);
    if (label) {
      this.stop();
      this.fill(label);
    }
  }

  stop() {
    this.looking?.abort();
    this.looking = null;
    this.button.textContent = "Scan the label";
    clear(this.view);
  }
}
