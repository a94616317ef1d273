/**
 * Draws the plots of a page. Each has its figures in a table beside it, which stands without this.
 *
 * @import { PlotSpec } from "../shared/plots/spec.js"
 * @module
 */

import { draw } from "../shared/plots/draw.js";

/**
 * Draws a plot once there is room for it: one in a folded part waits until that is opened.
 *
 * @param {HTMLElement} figure
 */
function drawWhenSeen(figure) {
  const place = figure.querySelector("[data-plot-canvas]");
  const source = document.getElementById(figure.dataset.plot ?? "");
  const readout = figure.querySelector("[data-plot-readout]");
  if (!(place instanceof HTMLElement) || !source?.textContent) {
    return;
  }
  /** @type {PlotSpec} */
  const spec = JSON.parse(source.textContent);
  /** @param {string} words */
  const tell = (words) => {
    if (readout) {
      readout.textContent = words;
    }
  };
  const watcher = new ResizeObserver(() => {
    if (place.clientWidth > 0) {
      watcher.disconnect();
      draw(place, spec, tell);
      figure.dataset.drawn = "";
    }
  });
  watcher.observe(place);
}

for (const figure of document.querySelectorAll("[data-plot]")) {
  drawWhenSeen(/** @type {HTMLElement} */ (figure));
}
