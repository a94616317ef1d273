/**
 * Draws the parts of a plot on the canvas that uPlot gives, in the colours of the page.
 *
 * @import { PlotSpec, Place, Role, Series } from "./spec.js"
 * @typedef {(value: number) => number} ToPixels
 * @typedef {{ left: number, top: number, width: number, height: number }} Box
 * @typedef {{
 *   context: CanvasRenderingContext2D,
 *   x: ToPixels,
 *   y: ToPixels,
 *   box: Box,
 *   ratio: number,
 *   color: (name: string) => string,
 *   font: string,
 * }} Sheet
 * @module
 */

import { placesOf, unbroken } from "./spec.js";

const BAND_OPACITY = 0.16;
const SPAN_OPACITY = 0.18;
const CLOUD_OPACITY = 0.4;
const CLOUD_POINTS = 60; // more points than this are drawn small and see-through
const BAR_SHARE = 0.72; // of the room of one step
const WIDEST_BAR = 44;
const DASH = [7, 5];
const LABEL_PX = 12;

/**
 * @param {Sheet} sheet
 * @param {PlotSpec} spec
 */
export function drawPlot(sheet, spec) {
  const { context, box } = sheet;
  context.save();
  context.beginPath();
  context.rect(box.left, box.top, box.width, box.height);
  context.clip();
  for (const span of spec.spans) {
    drawSpan(sheet, span);
  }
  for (const kind of ["band", "bars", "points", "step", "line", "errors"]) {
    for (const [number, series] of spec.series.entries()) {
      if (series.kind === kind) {
        PENCILS[series.kind](sheet, spec, series, placesOf(spec, number), number);
      }
    }
  }
  for (const mark of spec.marks) {
    drawMark(sheet, mark);
  }
  for (const level of spec.levels) {
    drawLevel(sheet, level);
  }
  labelAll(sheet, spec);
  context.restore();
}

/** @typedef {(sheet: Sheet, spec: PlotSpec, series: Series, places: Place[], number: number) => void} Pencil */

/** @type {Record<Series["kind"], Pencil>} */
const PENCILS = {
  band: (sheet, _spec, series, places) => {
    fillBetween(sheet, series, places, false);
  },
  line: (sheet, _spec, series, places) => {
    drawLine(sheet, series, places, false);
  },
  step: (sheet, _spec, series, places) => {
    fillBetween(sheet, series, places, true);
    drawLine(sheet, series, places, true);
  },
  points: drawPoints,
  errors: (sheet, spec, series, places, number) => {
    drawWhiskers(sheet, series, places, 0);
    drawPoints(sheet, spec, series, places, number);
  },
  bars: drawBars,
};

/**
 * @param {Sheet} sheet
 * @param {Series} series
 * @param {number} width
 */
function setPen(sheet, series, width) {
  const { context, ratio } = sheet;
  context.strokeStyle = sheet.color(`plot-${series.role}`);
  context.fillStyle = sheet.color(`plot-${series.role}`);
  context.lineWidth = width * ratio;
  context.lineJoin = "round";
  context.setLineDash(series.dashed ? DASH.map((each) => each * ratio) : []);
}

/**
 * Adds the points of a line to the path, with a corner before each where it goes in steps.
 *
 * @param {Sheet} sheet
 * @param {Place[]} places
 * @param {(place: Place) => number | null} height
 * @param {boolean} inSteps
 * @param {boolean} [isBack] Whether the path goes on from where it is.
 */
function trace(sheet, places, height, inSteps, isBack = false) {
  const { context, x, y } = sheet;
  places.forEach((place, index) => {
    const [px, py] = [x(place.x), y(/** @type {number} */ (height(place)))];
    if (index === 0 && !isBack) {
      context.moveTo(px, py);
      return;
    }
    if (inSteps && index > 0) {
      const former = places[index - 1];
      if (isBack) {
        context.lineTo(x(former.x), py);
      } else {
        context.lineTo(px, y(/** @type {number} */ (height(former))));
      }
    }
    context.lineTo(px, py);
  });
}

/**
 * @param {Sheet} sheet
 * @param {Series} series
 * @param {Place[]} places
 * @param {boolean} inSteps
 */
function drawLine(sheet, series, places, inSteps) {
  setPen(sheet, series, 2);
  for (const piece of unbroken(places, (place) => place.value !== null)) {
    sheet.context.beginPath();
    trace(sheet, piece, (place) => place.value, inSteps);
    sheet.context.stroke();
  }
}

/**
 * @param {Sheet} sheet
 * @param {Series} series
 * @param {Place[]} places
 * @param {boolean} inSteps
 */
function fillBetween(sheet, series, places, inSteps) {
  const { context } = sheet;
  setPen(sheet, series, 1);
  for (const piece of unbroken(places, (place) => place.low !== null && place.high !== null)) {
    context.beginPath();
    trace(sheet, piece, (place) => place.high, inSteps);
    trace(sheet, [...piece].reverse(), (place) => place.low, inSteps, true);
    context.closePath();
    context.globalAlpha = series.dashed ? BAND_OPACITY / 2 : BAND_OPACITY;
    context.fill();
    context.globalAlpha = 1;
    if (series.dashed) {
      for (const edge of /** @type {("low" | "high")[]} */ (["low", "high"])) {
        context.beginPath();
        trace(sheet, piece, (place) => place[edge], inSteps);
        context.stroke();
      }
    }
  }
}

/** @type {Pencil} */
function drawPoints(sheet, _spec, series, places) {
  const { context, x, y, ratio } = sheet;
  const isCloud = places.length > CLOUD_POINTS;
  setPen(sheet, series, 1.5);
  context.setLineDash([]);
  context.globalAlpha = isCloud && !series.hollow ? CLOUD_OPACITY : 1;
  const radius = (isCloud ? 2 : 4) * ratio;
  for (const place of places) {
    if (place.value !== null) {
      context.beginPath();
      context.arc(x(place.x), y(place.value), radius, 0, 2 * Math.PI);
      if (series.hollow) {
        context.fillStyle = sheet.color("paper");
        context.fill();
        context.stroke();
      } else {
        context.fill();
      }
    }
  }
  context.globalAlpha = 1;
}

/**
 * @param {Sheet} sheet
 * @param {Series} series
 * @param {Place[]} places
 * @param {number} shift Of bars that stand side by side, in pixels.
 */
function drawWhiskers(sheet, series, places, shift) {
  const { context, x, y, ratio } = sheet;
  setPen(sheet, series, 1.5);
  if (series.kind === "bars") {
    context.strokeStyle = sheet.color("ink");
  }
  const cap = 3.5 * ratio;
  for (const place of places) {
    if (place.low !== null && place.high !== null) {
      const px = x(place.x) + shift;
      const [low, high] = [y(place.low + place.base), y(place.high + place.base)];
      context.beginPath();
      context.moveTo(px, low);
      context.lineTo(px, high);
      context.moveTo(px - cap, low);
      context.lineTo(px + cap, low);
      context.moveTo(px - cap, high);
      context.lineTo(px + cap, high);
      context.stroke();
    }
  }
}

/** @type {Pencil} */
function drawBars(sheet, spec, series, places, number) {
  const { context, x, y, ratio } = sheet;
  const kin = spec.series
    .map((each, index) => ({ each, index }))
    .filter(({ each }) => each.kind === "bars")
    .map(({ index }) => index);
  const abreast = spec.stacked ? 1 : kin.length;
  const step = stepOf(kin.flatMap((index) => placesOf(spec, index).map((place) => place.x)));
  const room = Math.min((x(step) - x(0)) * BAR_SHARE, WIDEST_BAR * ratio * abreast);
  const width = room / abreast;
  const shift = spec.stacked ? 0 : (kin.indexOf(number) - (abreast - 1) / 2) * width;
  setPen(sheet, series, 1);
  context.setLineDash([]);
  for (const place of places) {
    if (place.value !== null) {
      const [foot, head] = [y(place.base), y(place.base + place.value)];
      const left = x(place.x) + shift - width / 2;
      context.globalAlpha = series.hollow ? 0.25 : 1;
      context.fillRect(left, Math.min(foot, head), width, Math.abs(foot - head));
      context.globalAlpha = 1;
      context.strokeStyle = sheet.color(series.hollow ? `plot-${series.role}` : "paper");
      context.strokeRect(left, Math.min(foot, head), width, Math.abs(foot - head));
    }
  }
  drawWhiskers(sheet, series, places, shift);
}

/**
 * Returns the least distance between neighbouring bars.
 *
 * @param {number[]} at
 */
function stepOf(at) {
  const sorted = [...new Set(at)].sort((one, other) => one - other);
  const steps = sorted.slice(1).map((each, index) => each - sorted[index]);
  return steps.length ? Math.min(...steps) : 1;
}

/**
 * @param {Sheet} sheet
 * @param {{ from: number, to: number }} span
 */
function drawSpan(sheet, span) {
  const { context, x, box, ratio } = sheet;
  const [left, right] = [x(span.from), x(span.to)];
  context.fillStyle = sheet.color("plot-span");
  context.globalAlpha = SPAN_OPACITY;
  context.fillRect(left, box.top, Math.max(right - left, ratio), box.height);
  context.globalAlpha = 1;
}

/**
 * @param {Sheet} sheet
 * @param {{ at: number }} mark
 */
function drawMark(sheet, mark) {
  const { context, x, box, ratio } = sheet;
  context.strokeStyle = sheet.color("ink-soft");
  context.lineWidth = ratio;
  context.setLineDash([2 * ratio, 3 * ratio]);
  context.beginPath();
  context.moveTo(x(mark.at), box.top);
  context.lineTo(x(mark.at), box.top + box.height);
  context.stroke();
}

/**
 * @param {Sheet} sheet
 * @param {{ value: number }} level
 */
function drawLevel(sheet, level) {
  const { context, y, box, ratio } = sheet;
  context.strokeStyle = sheet.color("plot-level");
  context.lineWidth = 2 * ratio;
  context.setLineDash(DASH.map((each) => each * ratio));
  context.beginPath();
  context.moveTo(box.left, y(level.value));
  context.lineTo(box.left + box.width, y(level.value));
  context.stroke();
}

/**
 * Writes the names of levels, spans and marks where they are whole and do not overlap. A level's
 * name goes right of another's in its way, and is left to the legend where there is no room.
 *
 * @param {Sheet} sheet
 * @param {PlotSpec} spec
 */
function labelAll(sheet, spec) {
  const { context, x, y, box, ratio } = sheet;
  const height = (LABEL_PX + 4) * ratio;
  context.font = sheet.font;
  context.setLineDash([]);
  context.textBaseline = "middle";
  context.textAlign = "left";
  /** @type {Box[]} */
  const taken = [];
  const wanted = [
    ...spec.levels.map((level) => ({
      words: level.label,
      color: "plot-level",
      left: box.left + 6 * ratio,
      top: y(level.value) - height,
      isLevel: true,
    })),
    ...spec.spans.map((span) => ({
      words: span.label,
      color: "plot-span-word",
      left: (x(span.from) + x(span.to) - context.measureText(span.label).width) / 2,
      top: box.top + 2 * ratio,
      isLevel: false,
    })),
    ...spec.marks.map((mark) => ({
      words: mark.label,
      color: "ink-soft",
      left: x(mark.at) + 5 * ratio,
      top: box.top + 2 * ratio,
      isLevel: false,
    })),
  ];
  for (const each of wanted) {
    const width = context.measureText(each.words).width;
    const asked = { left: each.left, top: each.top, width, height };
    const place = each.isLevel
      ? placeBeside(asked, taken, box, 10 * ratio)
      : freePlace(asked, taken, box);
    if (!place) {
      continue;
    }
    taken.push(place);
    context.lineWidth = 4 * ratio;
    context.strokeStyle = sheet.color("paper");
    context.strokeText(each.words, place.left, place.top + height / 2);
    context.fillStyle = sheet.color(each.color);
    context.fillText(each.words, place.left, place.top + height / 2);
  }
}

/**
 * Returns where a level's name goes: at its line, right of those in its way, if there is room.
 *
 * @param {Box} wanted
 * @param {Box[]} taken
 * @param {Box} box
 * @param {number} gap
 * @returns {Box | undefined}
 */
export function placeBeside(wanted, taken, box, gap) {
  const place = { ...wanted, top: Math.max(wanted.top, box.top) };
  let other = taken.find((each) => overlap(each, place));
  while (other) {
    place.left = other.left + other.width + gap;
    other = taken.find((each) => overlap(each, place));
  }
  const isWithin = place.left + place.width <= box.left + box.width;
  return isWithin || place.left === wanted.left ? place : undefined;
}

/**
 * Returns where a label goes: inside the box, and under those that are there already.
 *
 * @param {Box} wanted
 * @param {Box[]} taken
 * @param {Box} box
 * @returns {Box}
 */
export function freePlace(wanted, taken, box) {
  const left = Math.min(Math.max(wanted.left, box.left), box.left + box.width - wanted.width);
  const place = { ...wanted, left: Math.max(left, box.left), top: Math.max(wanted.top, box.top) };
  const bottom = box.top + box.height;
  let other = taken.find((each) => overlap(each, place));
  while (other && other.top + other.height + place.height <= bottom) {
    place.top = other.top + other.height;
    other = taken.find((each) => overlap(each, place));
  }
  return place;
}

/**
 * @param {Box} one
 * @param {Box} other
 */
function overlap(one, other) {
  return (
    one.left < other.left + other.width &&
    other.left < one.left + one.width &&
    one.top < other.top + other.height &&
    other.top < one.top + one.height
  );
}
