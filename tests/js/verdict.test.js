// The phone's verdict against the server's: cases made by the Python methods
// (tests/engineering/assessment/verdict_vectors.py; tools/run_js_tests.py writes them first).
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { judge } from "../../static/js/shared/verdict/judge.js";
import { readingProblem, toThousandths } from "../../static/js/shared/verdict/readings.js";
import { uncertaintyWords } from "../../static/js/shared/verdict/wording.js";

const FILE = new URL("../../build/verdict_vectors.json", import.meta.url);
const LEAST_CASES = 10_000;
const LEAST_TIES = 1_000;
const CLOSE = 1e-9; // issue 4: p and interval ends; relative where they are over 1
const IDENTICAL = [
  "name",
  "verdict",
  "reason",
  "decides",
  "level",
  "table_id",
  "row_id",
  "checked",
  "count",
  "further",
  "flags",
];

const { policies, plans, cases, typed, amounts } = JSON.parse(readFileSync(FILE, "utf-8"));

function isClose(one, other) {
  if (one === null || other === null) {
    return one === other;
  }
  return Math.abs(one - other) <= CLOSE * Math.max(1, Math.abs(other));
}

// An exact value as two whole numbers, from the sums the phone gives.
function fractionOf(value) {
  if ("white" in value) {
    const { white, red } = value;
    return [BigInt(white.sum) * BigInt(red.count), BigInt(red.sum) * BigInt(white.count)];
  }
  return [BigInt(value.sum), BigInt(value.count) * 1000n];
}

function isSameValue(value, expected) {
  if (value === null || expected === null) {
    return value === expected;
  }
  const [numerator, denominator] = fractionOf(value);
  return numerator * BigInt(expected[1]) === BigInt(expected[0]) * denominator;
}

function hasTie(plan, answer) {
  return answer.elements.some(({ value }, at) => {
    if (value === null) {
      return false;
    }
    const [numerator, denominator] = fractionOf(value);
    return plan.elements[at].candidates.some(
      ({ level }) => level !== null && numerator * 1000n === BigInt(level) * denominator,
    );
  });
}

function differences(answer, expected) {
  const found = [];
  const compare = (what, one, other) => {
    if (JSON.stringify(one) !== JSON.stringify(other)) {
      found.push(`${what}: ${JSON.stringify(one)} and not ${JSON.stringify(other)}`);
    }
  };
  const near = (what, one, other) => {
    if (!isClose(one, other)) {
      found.push(`${what}: ${one} and not ${other}`);
    }
  };
  compare("verdict", answer.verdict, expected.verdict);
  compare("reason", answer.reason, expected.reason);
  near("probability_low", answer.probability_low, expected.probability_low);
  near("probability_high", answer.probability_high, expected.probability_high);
  compare("elements", answer.elements.length, expected.elements.length);
  answer.elements.forEach((element, at) => {
    const other = expected.elements[at];
    IDENTICAL.forEach((field) =>
      compare(`${element.name} ${field}`, element[field], other[field]),
    );
    ["p", "U", "low", "high"].forEach((field) =>
      near(`${element.name} ${field}`, element[field], other[field]),
    );
    if (!isSameValue(element.value, other.value)) {
      found.push(`${element.name} value: ${JSON.stringify(element.value)}, not ${other.value}`);
    }
  });
  return found;
}

test("the phone judges every case as the server does, ties included", () => {
  const wrong = [];
  let ties = 0;
  cases.forEach((each, at) => {
    const plan = plans[each.plan];
    const answer = judge(plan, each.readings, policies[each.policy]);
    differences(answer, each.expected).forEach((words) => wrong.push(`case ${at}, ${words}`));
    const isTie = hasTie(plan, answer);
    ties += Number(isTie);
    if (isTie !== each.is_tie) {
      wrong.push(`case ${at}: a tie for one language only`);
    }
  });
  assert.deepEqual(wrong.slice(0, 20), [], `${wrong.length} differences`);
  assert.ok(cases.length >= LEAST_CASES, `${cases.length} cases`);
  assert.ok(ties >= LEAST_TIES, `${ties} exact ties`);
});

test("the cases hold every verdict, flag and kind of number of further readings", () => {
  const verdicts = new Set(cases.map((each) => each.expected.verdict));
  assert.equal(verdicts.size, 7);
  const elements = cases.flatMap((each) => each.expected.elements);
  const further = new Set(elements.map((each) => each.further));
  [null, -1, 1, 4, 31].forEach((number) => assert.ok(further.has(number), `${number} further`));
  const flags = elements.flatMap((each) => each.flags).join(" ");
  [
    "Only one reading;",
    "stands out of the others",
    "stand out of the others",
    "moving vehicle",
    "before replacing it",
    "read it again.",
    "different visits",
    "White reads below red",
  ].forEach((words) => assert.ok(flags.includes(words), words));
});

test("what is typed is read, or refused in the server's own words", () => {
  typed.forEach((each) => {
    assert.equal(readingProblem(each.typed), each.sentence, each.typed);
    if (!each.sentence) {
      assert.equal(toThousandths(each.typed), each.thousandths, each.typed);
    }
  });
});

test("an uncertainty is written with the same figures, a tie to the even one", () => {
  amounts.forEach(([amount, words]) => assert.equal(uncertaintyWords(amount), words));
});
