/**
 * What a plot shows, as the server says it, and where it lies on its axes.
 *
 * @typedef {"year" | "number" | "date"} AxisKind Dates are seconds since 1970 in UTC.
 * @typedef {"line" | "step" | "band" | "points" | "errors" | "bars"} SeriesKind
 * @typedef {"own" | "cohort" | "level" | "forecast" | "other" | "first" | "second" | "third"} Role
 * @typedef {{
 *   label: string,
 *   kind: SeriesKind,
 *   role: Role,
 *   dashed: boolean,
 *   hollow: boolean,
 *   x?: (number | null)[],
 *   values?: (number | null)[],
 *   low?: (number | null)[],
 *   high?: (number | null)[],
 * }} Series A series without x of its own stands at the plot's.
 * @typedef {{ label: string, value: number }} Level
 * @typedef {{ label: string, from: number, to: number }} Span
 * @typedef {{ label: string, at: number }} Mark
 * @typedef {{
 *   x: { label: string, kind: AxisKind, values: (number | null)[] },
 *   y: { label: string, from_zero: boolean, top?: number },
 *   stacked: boolean,
 *   series: Series[],
 *   levels: Level[],
 *   spans: Span[],
 *   marks: Mark[],
 * }} PlotSpec
 * @typedef {{ x: number, value: number | null, low: number | null, high: number | null, base: number }} Place
 * @module
 */

const BAND_OVER_REST = 1.6; // how far over all else the top of a wide band may lift the axis
const ROOM_AT_TOP = 1.08;
const HALF_BAR = 0.6;

/**
 * Returns the places of a series that have an x, in its order; `base` is what a bar stands on.
 *
 * @param {PlotSpec} spec
 * @param {number} number Which series.
 * @returns {Place[]}
 */
export function placesOf(spec, number) {
  const series = spec.series[number];
  const x = series.x ?? spec.x.values;
  const places = [];
  for (const [index, at] of x.entries()) {
    if (at !== null && at !== undefined) {
      places.push({
        x: at,
        value: series.values?.[index] ?? null,
        low: series.low?.[index] ?? null,
        high: series.high?.[index] ?? null,
        base: baseOf(spec, number, index),
      });
    }
  }
  return places;
}

/**
 * Returns the height of the bars under one bar of stacked ones; 0 where bars stand side by side.
 *
 * @param {PlotSpec} spec
 * @param {number} number
 * @param {number} index
 */
function baseOf(spec, number, index) {
  if (!spec.stacked || spec.series[number].kind !== "bars") {
    return 0;
  }
  return spec.series
    .slice(0, number)
    .filter((each) => each.kind === "bars")
    .reduce((sum, each) => sum + (each.values?.[index] ?? 0), 0);
}

/**
 * Returns the ends of the x axis, with room for the first and the last bar.
 *
 * @param {PlotSpec} spec
 * @returns {[number, number]}
 */
export function xRange(spec) {
  const all = [
    ...spec.series.flatMap((_each, number) => placesOf(spec, number).map((place) => place.x)),
    ...spec.spans.flatMap((span) => [span.from, span.to]),
    ...spec.marks.map((mark) => mark.at),
  ];
  if (!all.length) {
    return [0, 1];
  }
  const [low, high] = extent(all);
  if (spec.series.some((each) => each.kind === "bars")) {
    return [low - HALF_BAR, high + HALF_BAR];
  }
  const room = (high - low) * 0.02 || (spec.x.kind === "date" ? 86_400 * 30 : 0.5);
  const start = spec.x.kind === "number" && low >= 0 ? Math.max(low - room, 0) : low - room;
  return [start, high + room];
}

/**
 * Returns the ends of the y axis. A band that is far wider than all else runs out at the top.
 *
 * @param {PlotSpec} spec
 * @returns {[number, number]}
 */
export function yRange(spec) {
  /** @type {number[]} */
  const firm = spec.levels.map((level) => level.value);
  /** @type {number[]} */
  const wide = [];
  for (const [number, series] of spec.series.entries()) {
    for (const place of placesOf(spec, number)) {
      const edges = series.kind === "band" || series.kind === "step" ? wide : firm;
      for (const [value, list] of /** @type {[number | null, number[]][]} */ ([
        [place.value, firm],
        [place.low, edges],
        [place.high, edges],
      ])) {
        if (value !== null) {
          list.push(value + place.base);
        }
      }
    }
  }
  if (!firm.length && !wide.length) {
    return [0, 1];
  }
  const [lowest, highest] = extent([...firm, ...wide]);
  const [, firmest] = firm.length ? extent(firm) : [0, highest];
  const top = firmest > 0 ? Math.min(highest, firmest * BAND_OVER_REST) : highest;
  if (spec.y.from_zero && lowest >= 0) {
    return [0, Math.max(top * ROOM_AT_TOP, spec.y.top ?? 0) || 1];
  }
  const room = (top - lowest) * (ROOM_AT_TOP - 1) || Math.abs(top) * 0.1 || 1;
  return [lowest - room, top + room];
}

/**
 * Returns the least and the greatest of some numbers; there may be more than a call takes.
 *
 * @param {number[]} numbers One or more.
 * @returns {[number, number]}
 */
function extent(numbers) {
  let [low, high] = [numbers[0], numbers[0]];
  for (const each of numbers) {
    low = Math.min(low, each);
    high = Math.max(high, each);
  }
  return [low, high];
}

/**
 * Returns the pieces of a line or band that have their values, so that a gap stays a gap.
 *
 * @param {Place[]} places
 * @param {(place: Place) => boolean} isThere
 * @returns {Place[][]}
 */
export function unbroken(places, isThere) {
  /** @type {Place[][]} */
  const pieces = [];
  let open = false;
  for (const place of places) {
    if (isThere(place)) {
      if (!open) {
        pieces.push([]);
      }
      pieces[pieces.length - 1].push(place);
    }
    open = isThere(place);
  }
  return pieces;
}
