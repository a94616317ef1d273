// Parts of the phone's verdict against printed tables and figures worked by hand.
import assert from "node:assert/strict";
import { test } from "node:test";

import { decideContrast, decideLevel } from "../../static/js/shared/verdict/decision.js";
import { judge } from "../../static/js/shared/verdict/judge.js";
import { studentProbability, studentQuantile } from "../../static/js/shared/verdict/student.js";
import {
  expandedUncertainty,
  reduceReadings,
  welchSatterthwaite,
} from "../../static/js/shared/verdict/uncertainty.js";
import { reasonNotJudged, selectReadings } from "../../static/js/shared/verdict/usability.js";

// An invented certificate, as docs/methods/assessment.md takes it.
const CERTIFICATE = {
  repeatability_rel: 0.03,
  common_rel: 0.05,
  single_scatter_rel: 0.1,
  single_scatter_dof: null,
};
const POLICY = {
  rule: { kind: "simple", required_probability: null },
  uncertainty: CERTIFICATE,
  usual_reading_count: 4,
  geometry: { observation_angle_deg: "0.2", entrance_angle_deg: "-4.0" },
  not_judged: {
    how: { hand_held: "", mobile: "", visual_night: "looked at by night, not measured" },
    surface_state: { "": "", dry: "", dirty: "", dew: "dew was on the face" },
  },
  color_words: { white: "white", red: "red" },
  recommended_by: "",
  agency_table: "agency-level",
};

function color(name, level) {
  return element({ kind: "color", color: name, name, words: name }, level);
}

function element(own, level) {
  const row = { level, table_id: "table", row_id: `${own.name} row`, checked: "yes" };
  return {
    denominator: null,
    candidates: [{ ...row, place: ["", "", ""] }],
    no_level: "",
    not_known: "",
    unknown: [],
    unverified: [],
    decides: true,
    is_recommended: false,
    is_own_level: false,
    agency_words: "",
    table_words: "Table",
    ...own,
  };
}

// MUTCD 11th edition Table 2A-5, white on red: 35, 7, 3:1.
const CONTRAST = { kind: "contrast", color: "white", denominator: "red", name: "white/red" };
const STOP = {
  v: 1,
  method_version: "assess-2",
  excluded: "",
  not_known: "",
  notes: [],
  elements: [
    color("white", 35_000),
    color("red", 7_000),
    element({ ...CONTRAST, words: "white/red contrast" }, 3_000),
  ],
};

function reduce(...values) {
  return reduceReadings(
    values.map((value) => value * 1000),
    CERTIFICATE,
  );
}

function near(value, expected, places) {
  assert.equal(value.toFixed(places), expected.toFixed(places));
}

// JCGM 100:2008, Table G.2, p = 95 %.
test("the quantiles are those of the published table", () => {
  const printed = { 1: 12.71, 2: 4.3, 3: 3.18, 4: 2.78, 10: 2.23, 20: 2.09, 50: 2.01, 100: 1.984 };
  for (const [dof, quantile] of Object.entries(printed)) {
    near(studentQuantile(0.975, Number(dof)), quantile, quantile === 1.984 ? 3 : 2);
  }
  near(studentQuantile(0.975, Infinity), 1.96, 2);
});

// Closed forms: of one degree of freedom t = tan(π(p − ½)); Φ(1) from Abramowitz and Stegun 26.1.
test("probabilities and quantiles agree with closed forms, far out and next to nought too", () => {
  const wide = studentQuantile(0.9999, 1);
  assert.ok(Math.abs(wide / Math.tan(Math.PI * 0.4999) - 1) < 1e-10);
  near(studentProbability(1, Infinity), 0.841344746068543, 15);
  near(studentProbability(1, 1), 0.75, 15);
  near(studentProbability(1e-9, 2), 0.5 + 1e-9 / Math.sqrt(8), 16);
  assert.equal(studentProbability(Infinity, 5), 1);
  assert.equal(studentProbability(-Infinity, Infinity), 0);
});

test("a quantile put back gives its probability, for every whole number of degrees", () => {
  for (const probability of [0.51, 0.9, 0.975, 0.9999]) {
    for (const dof of [1, 2, 3, 4, 7, 50, 999, 1000, 9998, 9999, 10_000]) {
      const back = studentProbability(studentQuantile(probability, dof), dof);
      assert.ok(Math.abs(back - probability) < 1e-13, `${probability} at ${dof}: ${back}`);
    }
  }
});

// JCGM 100:2008 H.1.6, in nm.
test("the degrees of freedom of the end gauge are 16.7", () => {
  const variances = [25, 9.7, 2.9, 16.6].map((part) => part ** 2);
  near(welchSatterthwaite(variances, [18, 25.6, 50, 2]), 16.76, 2);
});

// docs/methods/assessment.md, "By hand".
test("whites of 38, 40, 41 and 41 meet 35 under a guard of 95 %", () => {
  const result = reduce(38, 40, 41, 41);
  const decision = decideLevel(result, 35_000, 0.95);
  assert.equal(decision.verdict, "meets");
  near(decision.p, 0.99, 3);
  near(decision.guard, 3.5, 2);
  near(expandedUncertainty(result), 4.18, 2);
});

test("whites of 34, 36, 37 and 37 stay undecided whatever is read further", () => {
  const decision = decideLevel(reduce(34, 36, 37, 37), 35_000, 0.95);
  assert.equal(decision.verdict, "undecided");
  assert.equal(decision.further, -1);
  assert.equal(decideLevel(reduce(34, 36, 37, 37), 35_000, null).verdict, "meets");
});

test("one white of 40 needs four readings more", () => {
  const decision = decideLevel(reduce(40), 35_000, 0.95);
  assert.equal(decision.verdict, "undecided");
  assert.equal(decision.further, 4);
  near(decision.guard, 7.36, 2);
});

// Whites and reds of one session share the instrument's error: of d = W − 3R it leaves nothing
// where W = 3R, so that the guard is that of the scatter alone; apart it is far wider.
test("what both colours of a session share cancels in their contrast", () => {
  const [white, red] = [reduce(30, 30, 30, 30), reduce(10, 10, 10, 10)];
  const shared = decideContrast(white, red, 3_000, true, null);
  const apart = decideContrast(white, red, 3_000, false, null);
  assert.equal(shared.verdict, "meets");
  assert.equal(shared.p, 0.5);
  near(shared.u, Math.sqrt(0.9 ** 2 / 4 + 9 * (0.3 ** 2 / 4)), 12);
  near(apart.u, Math.sqrt(shared.u ** 2 + 1.5 ** 2 + 9 * 0.5 ** 2), 12);
});

test("299.7 over 99.9 is exactly three to one and meets it, which floats deny", () => {
  assert.ok(299.7 / 99.9 < 3);
  const read = [
    { color: "white", values: ["299.7"] },
    { color: "red", values: ["99.9"] },
  ];
  const answer = judge(STOP, read, POLICY);
  assert.equal(answer.verdict, "meets");
  assert.equal(answer.elements[2].meanWords, "3:1");
});

// docs/methods/assessment.md, the worked table of Stop signs.
test("the stop signs of the worked table", () => {
  for (const [white, red, verdict, words] of [
    ["40", "6", "below", "Red 6 is below 7."],
    ["40", "15", "below", "White/red contrast 2.67:1 is below 3:1."],
    ["105", "35", "meets", "White/red contrast 3:1 meets 3:1."],
    ["104", "35", "below", "White/red contrast 2.97:1 is below 3:1."],
  ]) {
    const read = [
      { color: "white", values: [white, white, white, white] },
      { color: "red", values: [red, red, red, red] },
    ];
    const answer = judge(STOP, read, POLICY);
    assert.equal(answer.verdict, verdict);
    assert.ok(answer.reason.endsWith(words), answer.reason);
  }
});

test("a face with dew on it is not judged, and the phone says why", () => {
  assert.equal(reasonNotJudged({ surface_state: "dew" }, POLICY), "dew was on the face");
  const read = [{ color: "red", values: ["9"], surface_state: "dew" }];
  const answer = judge(STOP, read, POLICY);
  assert.equal(answer.verdict, "no usable reading");
  assert.deepEqual(answer.not_judged, [{ color: "red", reason: "dew was on the face" }]);
  assert.equal(answer.probability_low, null);
});

test("another geometry is named as it is written on instruments", () => {
  const taken = { observation_angle_deg: "0.50", entrance_angle_deg: "-4.05" };
  assert.equal(
    reasonNotJudged(taken, POLICY),
    "read at 0.5°/−4.05°; the levels are for 0.2°/−4.0°",
  );
  assert.equal(reasonNotJudged({ observation_angle_deg: "0.20" }, POLICY), "");
});

test("what is read now stands before what was read last year; the other colour keeps its own", () => {
  const before = { at_us: 1_746_000_000_000_000, day: "2025-04-30", visit: 4, instrument_id: 1 };
  const read = [
    { ...before, color: "white", values: ["90"] },
    { ...before, color: "red", values: ["20"] },
    { color: "red", values: ["6", "6.2"] },
  ];
  const selected = selectReadings(read, POLICY);
  assert.deepEqual(
    selected.map((each) => [each.color, each.values]),
    [
      ["red", ["6", "6.2"]],
      ["white", ["90"]],
    ],
  );
  const answer = judge(STOP, read, POLICY);
  assert.equal(answer.verdict, "below");
  assert.deepEqual(answer.elements[2].flags, ["The two colours were read on different visits."]);
});

test("a value that is no reading is refused with the server's sentence", () => {
  assert.throws(() => judge(STOP, [{ color: "red", values: ["3,5"] }], POLICY), /decimal point/);
});
