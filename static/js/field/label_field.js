/**
 * A label, typed or scanned.
 *
 * @module
 */
import { clear, h } from "./dom.js";
import { field } from "./pieces.js";

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
    this.view = h("div", { class: "stack-small" });
    const scan = h(
      "button",
      { type: "button", class: "button", onclick: () => this.scan() },
      "Scan the label",
    );
    this.element = h("div", { class: "stack-small" }, field(label, this.input), scan, this.view);
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

  async scan() {
    if (this.view.hasChildNodes()) {
      return;
    }
    clear(this.view, h("p", { role: "status" }, "Starting the camera…"));
    // The reader of codes is large: fetched when somebody scans.
    const { openScanner } = await import("./scanner.js");
    await openScanner(this.app, this.view, (label) => this.fill(label));
  }
}
