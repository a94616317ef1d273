/** Damage on the screen of today: its clock, the nearest first, what this phone recorded since. */
import assert from "node:assert/strict";
import { test } from "node:test";

import { clockOf, inOrder, withRecorded } from "../../static/js/field/damage_now.js";
import { recordAction } from "../../static/js/field/operations.js";
import { makePhone } from "./support/field_phone.js";

const BASICS = { words: { observation_kinds: [["knocked_down", "knocked down"]] } };

function row(more = {}) {
  return {
    sign_id: 7,
    position_id: 10,
    known_on: "2026-06-01",
    due_on: "2026-06-02",
    latitude_deg: 43,
    longitude_deg: -89.5,
    ...more,
  };
}

test("the clock is reckoned by the phone's own day, in the words of the desk", () => {
  assert.deepEqual(clockOf(row(), "2026-06-01"), { pace: "running", words: "1 day left" });
  assert.deepEqual(clockOf(row(), "2026-06-02"), { pace: "last-day", words: "today is the last day" });
  assert.deepEqual(clockOf(row(), "2026-06-03"), { pace: "late", words: "overdue by 1 day" });
  assert.deepEqual(clockOf(row(), "2026-06-12"), { pace: "late", words: "overdue by 10 days" });
  const unset = row({ due_on: null });
  assert.equal(clockOf(unset, "2026-06-01").words, "known today; no time set");
  assert.equal(clockOf(unset, "2026-06-03").words, "known for 2 days; no time set");
  assert.equal(clockOf(row(), "2026-10-01").words, "overdue by 4 months");
  assert.equal(clockOf(row(), "2036-06-01").words, "overdue by 10 years");
});

test("the clocks change over no day is lost or won", () => {
  assert.equal(clockOf(row({ due_on: "2026-03-30" }), "2026-03-28").words, "2 days left");
});

test("the nearest comes first once the phone knows where it is", () => {
  const far = row({ position_id: 11, latitude_deg: 43.1 });
  const ids = (fix) => inOrder([far, row()], fix).map((each) => each.position_id);
  assert.deepEqual(ids(null), [11, 10]);
  assert.deepEqual(ids({ latitude_deg: 43, longitude_deg: -89.5, accuracy_m: 5 }), [10, 11]);
});

test("what was put up here is left out, what was reported here is shown before it is sent", async (t) => {
  const phone = await makePhone(t);
  const app = { ...phone, basics: BASICS };
  const install = { position: { id: 10 }, face: { id: 3 }, installed_on: "2026-06-01" };
  await recordAction(phone, { kind: "install", payload: install, sign: { id: 7 } });
  for (const [kind, severity] of [
    ["knocked_down", 3],
    ["bent", 1],
  ]) {
    const payload = { sign: { id: 8 }, how: "visual_day", observations: [{ kind, severity, note: "" }] };
    await recordAction(phone, { kind: "inspection", payload, sign: { id: 8 } });
  }
  const found = await withRecorded(app, [row(), row({ position_id: 11 })]);
  assert.deepEqual(found.rows.map((each) => each.position_id), [11]);
  assert.equal(found.reported.length, 1);
  assert.equal(found.reported[0].what, "knocked down");
  assert.match(found.reported[0].state, /phone|sent|wait/i);
});
