// Finding a sign on the phone: labels, ways, and which signs a position could mean. What the
// Python methods say stands in build/phone_vectors.json (tests/engineering/phone_vectors.py;
// tools/run_js_tests.py writes it first).
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { compassWords } from "../../static/js/field/bearings.js";
import { boxAround } from "../../static/js/field/boxes.js";
import { bearingDeg, distanceM } from "../../static/js/field/distances.js";
import {
  identifiedOf,
  identifiedQuery,
  identifiedWords,
} from "../../static/js/field/identified.js";
import { labelInCode } from "../../static/js/field/label_codes.js";
import { readLabel } from "../../static/js/field/labels.js";
import { lookAround, sortNearby } from "../../static/js/field/nearby.js";
import { makeHash, matchHash } from "../../static/js/field/router.js";
import { facingWords, orderWords, way, wayTo } from "../../static/js/field/way_words.js";

const FILE = new URL("../../build/phone_vectors.json", import.meta.url);
const { labels, slips, ways, boxes } = JSON.parse(readFileSync(FILE, "utf-8"));
// Both work in double precision: a metre in the Earth's radius is 1.6e-7; what is left is rounding.
const CLOSE_M = 1e-6;
const CLOSE_DEG = 1e-6;

test("a label is read on the phone as the server reads it, however it is typed", () => {
  assert.ok(labels.length >= 2000);
  for (const { typed, label } of labels) {
    assert.equal(readLabel(typed).label, label, typed);
  }
});

test("a slip in a label is caught on the phone exactly where the server catches it", () => {
  assert.ok(slips.filter(({ label }) => label === null).length > slips.length / 2);
  for (const { typed, label } of slips) {
    assert.equal(readLabel(typed).label, label ?? "", typed);
  }
});

test("distances and bearings are the server's", () => {
  assert.ok(ways.length >= 1000);
  for (const { from, to, distance_m, bearing_deg, words } of ways) {
    assert.ok(Math.abs(distanceM(from, to) - distance_m) <= CLOSE_M, JSON.stringify(from));
    const apart = Math.abs(bearingDeg(from, to) - bearing_deg);
    // Points a centimetre apart: the difference of nearly equal coordinates is all there is.
    if (distance_m > 1) {
      assert.ok(Math.min(apart, 360 - apart) <= CLOSE_DEG, JSON.stringify({ from, to }));
      assert.equal(compassWords(bearing_deg), words);
    }
  }
});

// GeographicLib's example of the GeodSolve page, from memory: 40.6 N 73.8 W to 51.6 N 0.5 W is
// 5,551.76 km on the ellipsoid, setting out at 51.2°. A sphere is within 0.6 % of it.
test("a long way agrees with the ellipsoid within what a sphere can", () => {
  const from = { latitude_deg: 40.6, longitude_deg: -73.8 };
  const to = { latitude_deg: 51.6, longitude_deg: -0.5 };
  assert.ok(Math.abs(distanceM(from, to) / 5_551_759.4 - 1) < 0.006);
  assert.ok(Math.abs(bearingDeg(from, to) - 51.2) < 0.5);
});

test("the box around a point is the server's", () => {
  for (const { point, radius_m, edges } of boxes) {
    const box = boxAround(point, radius_m);
    const found = [box.south_deg, box.west_deg, box.north_deg, box.east_deg];
    found.forEach((edge, at) =>
      assert.ok(Math.abs(edge - edges[at]) < 1e-9, JSON.stringify(point)),
    );
  }
});

test("distances are in feet, then in miles, as on the other pages", () => {
  // 1 ft = 0.3048 m exactly; 1 mi = 5,280 ft (NIST SP 811, appendix B).
  assert.equal(way(3.048), "10 ft");
  assert.equal(way(30.5), "100 ft");
  assert.equal(way(47.3), "160 ft");
  assert.equal(way(1609.344), "1.0 mi");
  assert.equal(wayTo(30.48, 45), "100 ft north-east");
  assert.equal(wayTo(2.9, 45), "right here");
});

test("what is not known of a place is said", () => {
  assert.equal(facingWords(null), "facing not known");
  assert.equal(facingWords(181), "faces south");
  assert.equal(orderWords(1, 1), "alone on its support");
  assert.equal(orderWords(2, 3), "2 of 3 from the top");
  assert.equal(orderWords(null, 3), "one of 3 on its support");
});

test("a label's code holds the site's address and the id, or the bare id", () => {
  assert.equal(labelInCode("https://signs.example/l/001-0JK").label, "001-0JK");
  assert.equal(labelInCode("https://signs.example/001-0jk/").label, "001-0JK");
  assert.equal(labelInCode("HTTPS://SIGNS.EXAMPLE/0010JK").label, "001-0JK");
  assert.equal(labelInCode(" 001 0JK ").label, "001-0JK");
});

test("a code that is not a label of ours is not taken for one", () => {
  const wrong = labelInCode("https://signs.example/l/001-0JM");
  assert.equal(wrong.label, "");
  assert.match(wrong.sentence, /signs\.example/);
  assert.equal(labelInCode("https://other.example/menu").label, "");
  assert.match(labelInCode("001-0JM").sentence, /does not fit/);
});

/** @param {number} id */
const found = (id, distance_m, more = {}) => ({
  support: {
    id: more.support ?? id,
    accuracy_m: more.accuracy_m ?? null,
    latitude_deg: 0,
    longitude_deg: 0,
  },
  position: {
    id,
    support_id: id,
    sign_id: id,
    order_on_support: more.order ?? 1,
    is_retired: more.is_retired ?? false,
  },
  sign: more.empty ? null : { id },
  distance_m,
  bearing_deg: 0,
});
const FIX = { latitude_deg: 43, longitude_deg: -89, accuracy_m: 10 };

test("every sign within the accuracy is a candidate, and none is picked of two", () => {
  const around = sortNearby(
    [found(1, 30), found(2, 4), found(3, 4, { support: 2, order: 2 })],
    FIX,
  );
  assert.deepEqual(
    around.candidates.map(({ position }) => position.id),
    [2, 3],
  );
  assert.equal(around.only, null);
  assert.deepEqual(
    around.others.map(({ position }) => position.id),
    [1],
  );
});

test("the only sign within the accuracy is the one it can be", () => {
  const around = sortNearby([found(1, 9.9), found(2, 10.1)], FIX);
  assert.equal(around.only?.position.id, 1);
});

test("a support that is itself placed roughly stays a candidate", () => {
  const around = sortNearby([found(1, 9), found(2, 14, { accuracy_m: 5 })], FIX);
  assert.equal(around.candidates.length, 2);
  assert.equal(around.only, null);
});

test("however many signs could be meant, each is listed", () => {
  const many = Array.from({ length: 60 }, (_each, at) => found(at + 1, 5));
  assert.equal(sortNearby(many, FIX).candidates.length, 60);
});

test("an empty place is no sign, and a place given up is none either", () => {
  const around = sortNearby(
    [found(1, 3, { empty: true }), found(2, 4, { empty: true, is_retired: true })],
    FIX,
  );
  assert.deepEqual(
    around.empty.map(({ position }) => position.id),
    [1],
  );
  assert.equal(around.only, null);
});

test("a poor fix is searched at least as far as it may be out", async () => {
  const asked = [];
  const store = {
    signsNear: async (_point, radius_m) => {
      asked.push(radius_m);
      return [found(1, 180)];
    },
  };
  const around = await lookAround(store, { ...FIX, accuracy_m: 200 });
  assert.ok(Math.min(...asked) >= 200);
  assert.equal(around.candidates.length, 1);
});

test("how a sign was identified survives the way through an address", () => {
  const identified = {
    by: "nearest",
    latitude_deg: 43.1,
    longitude_deg: -89.5,
    accuracy_m: 7.5,
    candidate_count: 2,
  };
  const hash = makeHash("#/sign/:sign", { sign: 12, ...identifiedQuery(identified) });
  const params = matchHash("#/sign/:sign", hash);
  assert.equal(params?.sign, "12");
  assert.deepEqual(identifiedOf(params ?? {}), identified);
  assert.match(identifiedWords(identified), /from 2/);
});

test("an address that says nothing of it, or something else, says nothing", () => {
  assert.equal(identifiedOf({}), null);
  assert.equal(identifiedOf({ by: "guess" }), null);
  assert.equal(matchHash("#/sign/:sign", "#/sign/"), null);
  assert.equal(matchHash("#/sign/:sign", "#/sign/1/2"), null);
  assert.equal(matchHash("#/sign/:sign", "#/sign/%E0%A4%A"), null);
});
