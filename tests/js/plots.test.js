import assert from "node:assert/strict";
import { test } from "node:test";

import { freePlace, placeBeside } from "../../static/js/shared/plots/layers.js";
import { placesOf, unbroken, xRange, yRange } from "../../static/js/shared/plots/spec.js";
import { numberWords, tickWords, wordsAt, xWords } from "../../static/js/shared/plots/words.js";

/** A plot as the server says it, with what a test is about put in. */
function spec(parts = {}) {
  return {
    x: { label: "Year", kind: "year", values: [2024, 2025, 2026] },
    y: { label: "R_A", from_zero: true },
    stacked: false,
    series: [],
    levels: [],
    spans: [],
    marks: [],
    ...parts,
  };
}

function series(parts) {
  return { label: "white", kind: "line", role: "own", dashed: false, hollow: false, ...parts };
}

test("a series with places of its own does not stand at the plot's", () => {
  const plot = spec({ series: [series({ x: [2020, null, 2022.5], values: [250, 1, 230] })] });
  assert.deepEqual(
    placesOf(plot, 0).map((place) => [place.x, place.value]),
    [
      [2020, 250],
      [2022.5, 230],
    ],
  );
});

test("bars stand on those of the classes before, and side by side when not stacked", () => {
  const bars = [
    series({ kind: "bars", values: [4, 5, 6] }),
    series({ kind: "line", values: [100, 100, 100] }),
    series({ kind: "bars", values: [1, null, 2] }),
    series({ kind: "bars", values: [1, 1, 1] }),
  ];
  const bases = (stacked) => placesOf(spec({ stacked, series: bars }), 3).map((each) => each.base);
  assert.deepEqual(bases(true), [5, 5, 8]);
  assert.deepEqual(bases(false), [0, 0, 0]);
});

test("the axis of years has room for the first and the last bar", () => {
  const plot = spec({ series: [series({ kind: "bars", values: [1, 2, 3] })] });
  assert.deepEqual(xRange(plot), [2023.4, 2026.6]);
});

test("today and the time in which a sign falls due are inside the axis", () => {
  const plot = spec({
    series: [series({ values: [250, 240, 230] })],
    spans: [{ label: "due", from: 2031, to: 2040 }],
    marks: [{ label: "today", at: 2023 }],
  });
  const [start, stop] = xRange(plot);
  assert.ok(start < 2023 && stop > 2040);
});

test("R_A starts at nought, and the level lies below the top", () => {
  const plot = spec({
    series: [series({ values: [20, null, 30] })],
    levels: [{ label: "level 35", value: 35 }],
  });
  const [bottom, top] = yRange(plot);
  assert.equal(bottom, 0);
  assert.ok(top > 35 && top < 45);
});

test("a band a hundred times as wide does not flatten the readings under it", () => {
  const plot = spec({
    series: [
      series({ values: [250, 240, 230] }),
      series({ kind: "band", low: [1, 1, 1], high: [25_000, 25_000, 25_000] }),
    ],
  });
  assert.ok(yRange(plot)[1] < 500);
});

test("an axis with values under nought shows them", () => {
  const plot = spec({ series: [series({ kind: "errors", values: [-2, 0, 1], low: [-5, -1, 0], high: [1, 1, 2] })] });
  const [bottom, top] = yRange(plot);
  assert.ok(bottom < -5 && top > 2);
});

test("a plot of nothing still has axes", () => {
  const empty = spec({ x: { label: "Age", kind: "number", values: [] } });
  assert.deepEqual(xRange(empty), [0, 1]);
  assert.deepEqual(yRange(empty), [0, 1]);
});

test("a gap in a line stays a gap", () => {
  const places = placesOf(spec({ series: [series({ values: [1, null, 3] })] }), 0);
  const pieces = unbroken(places, (place) => place.value !== null);
  assert.deepEqual(
    pieces.map((piece) => piece.map((place) => place.x)),
    [[2024], [2026]],
  );
});

test("the pointer is told the year, the value and its interval", () => {
  const plot = spec({
    series: [
      series({ label: "most likely", values: [240, 230, 219.6] }),
      series({ label: "90 % of such signs", kind: "band", low: [200, 190, 180], high: [280, 270, 260] }),
    ],
  });
  assert.equal(
    wordsAt(plot, 2025.9, 0.2),
    "Year 2026: most likely 220; 90 % of such signs between 180 and 260",
  );
});

test("a reading far from the pointer is not told, nor a place without a value", () => {
  const plot = spec({ series: [series({ kind: "points", values: [240, null, 220] })] });
  assert.equal(wordsAt(plot, 2025, 0.3), "");
  assert.equal(wordsAt(plot, 2024.1, 0.3), "Year 2024: white 240");
});

test("numbers have a true minus sign and no needless decimals", () => {
  assert.equal(numberWords(-0.04321), "−0.0432");
  assert.equal(numberWords(1234.5), "1,235");
  assert.deepEqual(tickWords([-0.5, 0, 0.5]), ["−0.5", "0.0", "0.5"]);
  assert.deepEqual(tickWords([0, 0.25, 0.5]), ["0.00", "0.25", "0.50"]);
  assert.deepEqual(tickWords([0, 5000, 10_000]), ["0", "5,000", "10,000"]);
});

test("a day is told as a table writes it, a part of a year with one decimal", () => {
  const days = spec({ x: { label: "Day", kind: "date", values: [] } });
  assert.equal(xWords(days, Date.UTC(2026, 11, 1) / 1000), "2026-12-01");
  assert.equal(xWords(spec(), 2031.46), "2031.5");
});

test("a label is kept inside the drawing and off another label", () => {
  const box = { left: 40, top: 10, width: 300, height: 200 };
  const first = freePlace({ left: 330, top: 12, width: 60, height: 16 }, [], box);
  assert.deepEqual([first.left, first.top], [280, 12]);
  const second = freePlace({ left: 300, top: 12, width: 40, height: 16 }, [first], box);
  assert.deepEqual([second.left, second.top], [300, 28]);
});

test("a level's name goes right of one in its way, and nowhere without room", () => {
  const box = { left: 0, top: 0, width: 200, height: 100 };
  const first = placeBeside({ left: 6, top: 50, width: 80, height: 16 }, [], box, 10);
  assert.deepEqual(first, { left: 6, top: 50, width: 80, height: 16 });
  const second = placeBeside({ left: 6, top: 58, width: 80, height: 16 }, [first], box, 10);
  assert.deepEqual(second, { left: 96, top: 58, width: 80, height: 16 });
  const third = { left: 6, top: 54, width: 80, height: 16 };
  assert.equal(placeBeside(third, [first, second], box, 10), undefined);
});
