/**
 * Draws one plot in its place: uPlot makes the axes and follows the pointer, layers.js the rest.
 *
 * @import { PlotSpec } from "./spec.js"
 * @module
 */

import uPlot from "uplot";

import { drawPlot } from "./layers.js";
import { xRange, yRange } from "./spec.js";
import { tickWords, wordsAt } from "./words.js";

const FONT_PX = 12;
const LEAST_HEIGHT_PX = 230;
const MOST_HEIGHT_PX = 340;
const HEIGHT_OF_WIDTH = 0.52;
const DIGIT_PX = 7.2;
const POINTER_PX = 14;
const YEAR_STEPS = [1, 2, 5, 10, 20, 25, 50, 100];
const DAY_S = 86_400;

/** How dates stand on an axis: uPlot's templates, by the step between two of them. */
const DATE_WORDS = [
  [DAY_S * 360, "{YYYY}", null, null, null, null, null, null, 1],
  [DAY_S * 28, "{MMM}", "\n{YYYY}", null, null, null, null, null, 1],
  [DAY_S, "{D} {MMM}", "\n{YYYY}", null, null, null, null, null, 1],
];

/**
 * @param {HTMLElement} place Empty; the plot is as wide as it.
 * @param {PlotSpec} spec
 * @param {(words: string) => void} tell Told what stands where the pointer is.
 */
export function draw(place, spec, tell) {
  const style = getComputedStyle(place);
  /** @param {string} name */
  const color = (name) => style.getPropertyValue(`--${name}`).trim() || "#000";
  const family = style.fontFamily || "sans-serif";
  const [left, right] = xRange(spec);
  const chart = new uPlot(
    {
      ...sizeIn(place),
      padding: [8, 10, 0, 0],
      tzDate: (at) => uPlot.tzDate(new Date(at * 1000), "Etc/UTC"),
      legend: { show: false },
      cursor: { y: false, drag: { x: false, y: false }, points: { show: false } },
      scales: {
        x: { time: spec.x.kind === "date", range: () => [left, right] },
        y: { range: () => yRange(spec) },
      },
      axes: [xAxis(spec, color, family), yAxis(color, family)],
      series: [{}, { show: true, paths: () => null, points: { show: false } }],
      hooks: {
        draw: [
          (self) => {
            drawPlot(
              {
                context: self.ctx,
                x: (value) => self.valToPos(value, "x", true),
                y: (value) => self.valToPos(value, "y", true),
                box: self.bbox,
                ratio: uPlot.pxRatio,
                color,
                font: `600 ${FONT_PX * uPlot.pxRatio}px ${family}`,
              },
              spec,
            );
          },
        ],
        setCursor: [
          (self) => {
            const at = self.cursor.left ?? -1;
            const reach = (POINTER_PX * (right - left)) / self.over.clientWidth;
            tell(at < 0 ? "" : wordsAt(spec, self.posToVal(at, "x"), reach));
          },
        ],
      },
    },
    // uPlot's own series stays empty: each of ours has its own places on the x axis.
    [
      [left, right],
      [null, null],
    ],
    place,
  );
  new ResizeObserver(() => {
    if (place.clientWidth > 0 && place.clientWidth !== chart.width) {
      chart.setSize(sizeIn(place));
    }
  }).observe(place);
  // The page's type may come after the first drawing.
  document.fonts.ready.then(() => chart.redraw(false, true));
}

/** @param {HTMLElement} place */
function sizeIn(place) {
  const width = place.clientWidth;
  const height = Math.round(width * HEIGHT_OF_WIDTH);
  return { width, height: Math.min(Math.max(height, LEAST_HEIGHT_PX), MOST_HEIGHT_PX) };
}

/**
 * @param {PlotSpec} spec
 * @param {(name: string) => string} color
 * @param {string} family
 * @returns {uPlot.Axis}
 */
function xAxis(spec, color, family) {
  const axis = {
    ...strokes(color, family),
    grid: { show: false },
    ticks: { stroke: color("rule-strong"), width: 1, size: 5 },
    size: 34,
    space: 54,
  };
  if (spec.x.kind === "year") {
    return {
      ...axis,
      incrs: YEAR_STEPS,
      values: (_self, splits) => splits.map((each) => String(each)),
    };
  }
  if (spec.x.kind === "date") {
    return { ...axis, size: 50, values: /** @type {uPlot.Axis.Values} */ (DATE_WORDS) };
  }
  return { ...axis, values: (_self, splits) => tickWords(splits) };
}

/**
 * @param {(name: string) => string} color
 * @param {string} family
 * @returns {uPlot.Axis}
 */
function yAxis(color, family) {
  return {
    ...strokes(color, family),
    grid: { stroke: color("rule"), width: 1 },
    ticks: { show: false },
    space: 40,
    gap: 6,
    size: (_self, values) =>
      Math.ceil(Math.max(...(values ?? [""]).map((each) => each.length)) * DIGIT_PX) + 12,
    values: (_self, splits) => tickWords(splits),
  };
}

/**
 * @param {(name: string) => string} color
 * @param {string} family
 */
function strokes(color, family) {
  return { stroke: color("ink-soft"), font: `${FONT_PX}px ${family}` };
}
