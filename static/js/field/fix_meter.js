/**
 * Where the phone is, averaged over some seconds, as a part of a screen.
 *
 * @module
 */
import { FIXES_S } from "./constants.js";
import { clear, h } from "./dom.js";
import { averageFix } from "./fixes.js";
import { watchPosition } from "./phone_position.js";
import { notice } from "./pieces.js";
import { way } from "./way_words.js";

/** @typedef {import("./fixes.js").Fix} Fix */

/** Collects fixes from when it is started, and says how good their average is. */
export class FixMeter {
  /** @param {import("./page.js").App} app */
  constructor(app) {
    this.app = app;
    /** @type {Fix[]} */
    this.fixes = [];
    this.startedAt_ms = 0;
    /** @type {AbortController | null} */
    this.watching = null;
    /** @type {() => void} told of every new average */
    this.onChange = () => undefined;
    this.status = h("p", { role: "status", "data-fix": "" });
    this.again = h(
      "button",
      { type: "button", class: "button", hidden: true, onclick: () => this.start() },
      "Measure again",
    );
    this.element = h("div", { class: "stack-small" }, this.status, this.again);
    app.leaving().addEventListener("abort", () => this.stop());
  }

  /** @returns {(Fix & { count: number }) | null} the average so far */
  get fix() {
    return averageFix(this.fixes);
  }

  /** Begin anew. */
  start() {
    this.stop();
    this.fixes = [];
    this.again.hidden = true;
    this.status.textContent = "Finding where you are. Hold the phone still, at the support.";
    this.watching = new AbortController();
    this.startedAt_ms = performance.now();
    window.setTimeout(() => this.finish(), FIXES_S * 1000);
    watchPosition(this.watching.signal, (fix) => this.take(fix), (sentence) => this.fail(sentence));
  }

  stop() {
    this.watching?.abort();
    this.watching = null;
  }

  /** End once the seconds are over and there is something to average. */
  finish() {
    const isOver = performance.now() - this.startedAt_ms >= FIXES_S * 1000;
    if (this.watching && isOver && this.fixes.length > 0) {
      this.stop();
      this.again.hidden = false;
      this.draw();
    }
  }

  /** @param {Fix} fix */
  take(fix) {
    if (!this.watching) {
      return;
    }
    this.fixes.push(fix);
    this.draw();
    this.finish();
    this.onChange();
  }

  draw() {
    const { fix } = this;
    if (fix) {
      const goingOn = this.watching ? " Measuring goes on: hold still." : "";
      this.status.textContent = `Good to about ${way(fix.accuracy_m)}, from ${fix.count} ${fix.count === 1 ? "position" : "positions"}.${goingOn}`;
    }
  }

  /** @param {string} sentence */
  fail(sentence) {
    if (this.fixes.length === 0) {
      clear(this.status, notice("warn", h("p", null, sentence)));
      this.again.hidden = false;
      this.stop();
    }
  }
}
