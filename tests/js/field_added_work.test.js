/** A planned tour on the phone, and work that its crew adds: words, lists, what is added once. */
import assert from "node:assert/strict";
import { test } from "node:test";

import { addedWork, packagesInHand } from "../../static/js/field/added_work.js";
import { recordAction } from "../../static/js/field/operations.js";
import { editHash, recordedWords } from "../../static/js/field/recorded_words.js";
import { faceWords, labelToPutUp, timeWords, tourWords } from "../../static/js/field/stop_words.js";
import { stopsNow } from "../../static/js/field/stops_now.js";
import { makePhone } from "./support/field_phone.js";

const BASICS = { words: { tasks: [["repair", "repair or straighten"]] }, packages: [] };
const FACE = { id: 9, label: "001-0JK", code: "R1-1", is_in_stock: true, is_up_here: false };

function page(stops) {
  return {
    page: 1,
    pages: 1,
    supports: [{ id: 1, latitude_deg: 43, longitude_deg: -89.5, road: "Mill Road", key: "P1" }],
    positions: [{ id: 10, support_id: 1, sign_id: 100, order_on_support: 1 }],
    signs: [{ id: 100, position_id: 10, code: "R1-1", name: "Stop", photo_ids: [] }],
    stops,
    plans: {},
    drawings: {},
    roads: [],
  };
}

const AREA = { id: "p", title: "p", kind: "package", package_id: 5, box: null, taken_at_ms: 1 };

function work(more = {}) {
  const payload = { package_id: 5, position: { id: 10 }, task: "repair", note: "Leans.", outcome: "", ...more };
  return { kind: "add_work", payload, sign: { id: 100 } };
}

test("a planned stop says when, how long, and which face to bring", () => {
  assert.equal(timeWords({ arrive_at: "09:05", service_minutes: 24.6 }), "About 09:05, 25 min");
  assert.equal(timeWords({ arrive_at: null, service_minutes: null }), "");
  assert.equal(faceWords({ face: FACE }), "Bring face 001-0JK");
  assert.equal(faceWords({ face: { ...FACE, label: "" } }), "Bring face without a label, number 9");
  assert.equal(faceWords({ face: { ...FACE, is_in_stock: false } }), "Face 001-0JK is not in stock any more");
  const up = { face: { ...FACE, is_in_stock: false, is_up_here: true } };
  assert.equal(faceWords(up), "Face 001-0JK is up here");
  assert.equal(labelToPutUp(up), "");
  const here = { label_id: "001-0JK", state: "installed" };
  assert.equal(faceWords({ face: FACE }, here), "Face 001-0JK is up here");
  assert.equal(faceWords({ face: FACE }, { ...here, label_id: "001-0KX" }), "Bring face 001-0JK");
  assert.equal(labelToPutUp({ face: FACE }), "001-0JK");
  assert.equal(labelToPutUp(null), "");
});

test("a planned day says when to leave, when it is over and how far it goes", () => {
  const day = { leave_at: "20:00", back_at: "03:50 the next day", drive_mi: 41.7 };
  assert.equal(tourWords(day), "Leave at 20:00, back about 03:50 the next day, 42 mi to drive");
  assert.equal(tourWords({ leave_at: null, back_at: null, drive_mi: null }), "");
});

test("stops of an earlier version of the app have no times, and none are made up", async (t) => {
  const phone = await makePhone(t);
  await phone.store.putArea(AREA, [page([{ id: 1, package_id: 5, number: 1, position_id: 10, task_words: "x" }])]);
  const [stop] = await stopsNow(phone, 5);
  assert.deepEqual([stop.arrive_at, stop.service_minutes, stop.face, stop.is_added], [null, null, null, false]);
});

test("added work is listed with its package until the server's list has it", async (t) => {
  const phone = { ...(await makePhone(t)), basics: BASICS };
  await phone.store.putArea(AREA, [page([])]);
  const first = await recordAction(phone, work());
  await recordAction(phone, work({ package_id: 6 }));
  const [added] = await addedWork(phone, [5]);
  assert.equal(added.uuid, first.client_uuid);
  assert.equal(added.about, "R1-1 Stop, Mill Road");
  assert.deepEqual(added.lines, ["Repair or straighten", "Leans."]);
  assert.equal(added.state, "saved on this phone, to send");
  const answer = { answer: "applied", client_uuid: first.client_uuid, result: { stop_id: 77 } };
  await phone.store.setAnswers([answer], { epoch: null, server_ms: 1 });
  assert.equal((await addedWork(phone, [5]))[0].state, "on the server");
  const stop = { id: 77, package_id: 5, number: 3, position_id: 10, is_added: true };
  await phone.store.putArea(AREA, [page([stop])]);
  assert.deepEqual(await addedWork(phone, [5]), []);
  assert.equal((await stopsNow(phone, 5))[0].is_added, true);
});

test("added work says what it is and is put right on its own screen", () => {
  const content = { client_uuid: "u1", ...work() };
  assert.equal(recordedWords(content, BASICS).title, "Work added, to be done");
  assert.equal(recordedWords({ ...content, ...work({ outcome: "done" }) }, BASICS).title, "Work added, done");
  assert.equal(editHash(content), "#/add-work/10?replaces=u1");
});

test("work goes into a package that is in hand: today's, or an earlier one with open stops", () => {
  const each = (id, work_on, more = {}) => ({
    id, work_on, crew_is_me: true, crew_is_any: false, stop_count: 2, done_count: 0, ...more,
  });
  const packages = [
    each(1, "2026-06-03"),
    each(2, "2026-06-02"),
    each(3, "2026-06-01"),
    each(4, "2026-06-01", { done_count: 1, not_done_count: 1 }),
    each(5, "2026-06-02", { crew_is_me: false }),
  ];
  const found = packagesInHand({ basics: { packages } }, "2026-06-02");
  assert.deepEqual(found.map(({ id }) => id), [2, 3]);
});
