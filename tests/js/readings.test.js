import assert from "node:assert/strict";
import { test } from "node:test";

import {
  contrast,
  meanWords,
  meetsLevel,
  sumReadings,
  toThousandths,
} from "../../static/js/shared/readings.js";

test("a typed value is taken as the decimal it says", () => {
  assert.equal(toThousandths(" 35.0 "), 35000);
  assert.equal(toThousandths(".5"), 500);
  assert.equal(toThousandths("12."), 12000);
});

test("what is not a plain number is left to the server to explain", () => {
  for (const typed of ["", "35,0", "abc", "-1", "1.2345", "1e3"]) {
    assert.equal(toThousandths(typed), null, typed);
  }
});

// Issue 2, check values: four readings averaging exactly 35.0 meet 35.
test("four readings averaging exactly the level meet it", () => {
  const readings = sumReadings(["34.9", "35.1", "34.8", "35.2"]);
  assert.equal(meetsLevel(readings, "35"), true);
  assert.equal(meanWords(readings, "35"), "35.0");
});

test("a mean just under its level is never shown as the level", () => {
  const readings = sumReadings(["35", "35", "34.999"]);
  assert.equal(meetsLevel(readings, "35"), false);
  assert.notEqual(meanWords(readings, "35"), "35.0");
});

// Issue 2, check values: white 299.7 over red 99.9 is exactly 3:1 and meets; 40 / 15 is 2.67:1.
test("a contrast of exactly three to one meets three to one", () => {
  const found = contrast(sumReadings(["299.7"]), sumReadings(["99.9"]), "3");
  assert.deepEqual(found, { words: "3.00", isMet: true });
});

test("white 40 over red 15 is 2.67 to one and does not meet three", () => {
  const found = contrast(sumReadings(["40"]), sumReadings(["15"]), "3.0");
  assert.deepEqual(found, { words: "2.67", isMet: false });
});

test("a level that is not known is not met and not missed", () => {
  assert.equal(meetsLevel(sumReadings(["35"]), ""), null);
});

test("an empty colour has no contrast", () => {
  assert.equal(contrast(sumReadings([]), sumReadings(["15"]), "3"), null);
});
