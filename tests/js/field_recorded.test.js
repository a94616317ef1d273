/** What was recorded on the phone: its words, where it is put right, and what it does to a sign. */
import "fake-indexeddb/auto";
import assert from "node:assert/strict";
import { afterEach, beforeEach, test } from "node:test";

import { findCodes } from "../../static/js/field/code_picker.js";
import { recordAction } from "../../static/js/field/operations.js";
import { againHash, correctHash, editHash, recordedWords, stateWords } from "../../static/js/field/recorded_words.js";
import { openStore } from "../../static/js/field/store.js";
import { loadPlace, loadSubject } from "../../static/js/field/subject.js";

const BASICS = {
  instruments: [{ id: 3, serial: "RT-5" }],
  codes: [["R1-2", "Yield", ["red", "white"]]],
  words: {
    observation_kinds: [["vandalised", "defaced or shot at"]],
    severities: [[3, "severe: cannot be relied on"]],
    removal_reasons: [["faded", "colour faded"]],
    wrong_data_fields: [["size", "the size"]],
  },
};

test("readings, damage and a note are said in the words of the trade", () => {
  const { title, lines } = recordedWords(
    {
      kind: "inspection",
      payload: {
        reading_sets: [{ color: "fluorescent-yellow", values: ["81.2", "80.0"] }],
        observations: [{ kind: "vandalised", severity: 3, note: "" }],
        visual_rating: null,
        note: "three holes",
      },
    },
    BASICS,
  );
  assert.equal(title, "Readings, Damage report");
  assert.deepEqual(lines, [
    "Fluorescent yellow: 81.2, 80.0 cd/lx/m²",
    "Defaced or shot at: severe: cannot be relied on",
    "three holes",
  ]);
});

test("each kind says what was done, and a day as a person reads it", () => {
  /** @param {string} kind @param {any} payload */
  const said = (kind, payload) => recordedWords({ kind, payload }, BASICS);
  assert.deepEqual(said("remove", { reason: "faded", removed_on: "2026-11-25", note: "" }), {
    title: "Face taken down",
    lines: ["colour faded", "Taken down on 25 Nov 2026"],
  });
  assert.equal(said("stop", { outcome: "not_done", reason: "weather" }).title, "Stop not done");
  const moved = { latitude_deg: 43, longitude_deg: -89.5, accuracy_m: 6.096, reason: "" };
  // 6.096 m is 20 ft exactly (the international foot is 0.3048 m).
  assert.deepEqual(said("move_support", moved).lines, ["43.00000, −89.50000", "good to 20 ft"]);
  assert.match(said("unheard_of", {}).title, /kind unheard_of/);
});

test("what is refused is put right on the screen it came from, filled in again", () => {
  /** @param {string} kind @param {any} payload */
  const hash = (kind, payload) => editHash({ kind, client_uuid: "u1", payload });
  const sign = { id: 12 };
  assert.equal(hash("inspection", { sign, reading_sets: [{}] }), "#/read/12?replaces=u1");
  assert.equal(hash("inspection", { sign, observations: [{}] }), "#/damage/12?replaces=u1");
  assert.equal(hash("inspection", { sign, visual_rating: {} }), "#/night/12?replaces=u1");
  assert.equal(hash("inspection", { sign, note: "x" }), "#/note/12?replaces=u1");
  assert.equal(hash("install", { position: { operation: "u0" } }), "#/install/u0?replaces=u1");
  assert.equal(hash("add_sign", { support: { new: {} } }), "#/add-sign?replaces=u1");
  assert.equal(hash("add_sign", { support: { id: 7 } }), "#/add-sign/7?replaces=u1");
  assert.equal(hash("discard", { operation: "u0" }), "");
  // What was taken back while it put another right still does so when it is recorded again.
  const again = { kind: "note", client_uuid: "u2", replaces: "u1", payload: { sign } };
  assert.equal(againHash({ ...again, kind: "remove" }), "#/remove/12?from=u2&replaces=u1");
});

test("readings on the server are put right by new ones that name them", () => {
  const content = {
    kind: "inspection",
    client_uuid: "u1",
    payload: { sign: { id: 12 }, reading_sets: [{}] },
  };
  assert.equal(correctHash(content), "#/read/12?corrects=u1&from=u1");
  assert.equal(correctHash({ ...content, payload: { sign: { id: 12 }, note: "x" } }), "");
});

test("where something stands is never said in the words of a computer", () => {
  /** @param {any} fields */
  const words = (fields) => stateWords({ replaced_by: null, answer: null, ...fields });
  assert.equal(words({ state: "waiting" }), "saved on this phone, to send");
  assert.equal(words({ state: "acknowledged" }), "on the server");
  assert.match(words({ state: "acknowledged", answer: { code: "put_right" } }), /your engineer/);
  assert.match(words({ state: "held", answer: { code: "waits" } }), /waits for another record/);
  assert.match(words({ state: "held", answer: { code: "conflict" } }), /your engineer/);
  assert.match(words({ state: "refused", replaced_by: "u2" }), /put right/);
  assert.match(words({ state: "withdrawn" }), /never sent/);
});

test("a code is found by its beginning and by words of its name", () => {
  /** @type {[string, string][]} */
  const codes = [
    ["R1-1", "Stop"],
    ["R1-10", "Stop Here"],
    ["W3-1", "Stop Ahead (symbol)"],
  ];
  assert.deepEqual(findCodes(codes, "r1–1").map(([code]) => code), ["R1-1", "R1-10"]);
  assert.deepEqual(findCodes(codes, "ahead stop").map(([code]) => code), ["W3-1"]);
  assert.deepEqual(findCodes(codes, " "), []);
});

/** @type {any} */
let app;
let number = 0;

beforeEach(async () => {
  number += 1;
  const store = await openStore({ name: `recorded-${number}` });
  await store.setSetting("person", { id: 5, name: "Ina Tern" });
  const area = {
    id: "package:1",
    title: "North",
    kind: "package",
    package_id: 1,
    box: null,
    taken_at_ms: 1000,
  };
  const page = {
    page: 1,
    pages: 1,
    supports: [{ id: 7, latitude_deg: 43, longitude_deg: -89.5, accuracy_m: 1, road: "Mill Road" }],
    positions: [
      {
        id: 5,
        support_id: 7,
        sign_id: 12,
        code: "R1-1",
        name: "Stop",
        version: "v1",
        asks: { code: "R1-1", variant: "" },
      },
    ],
    signs: [
      {
        id: 12,
        position_id: 5,
        state: "installed",
        label_id: null,
        code: "R1-1",
        name: "Stop",
        damage: [],
        colours: ["red"],
      },
    ],
  };
  await store.putArea(/** @type {any} */ (area), [page]);
  await store.putStock([
    {
      page: 1,
      pages: 1,
      faces: [{ id: 90, label_id: "001-0JK", code: "R1-1", colours: ["white"], plan: "p1" }],
    },
  ]);
  app = { store, version: "test", basics: BASICS };
});

afterEach(() => app.store.close());

/** @param {any} action */
const record = (action) => recordAction(app, action);

test("damage just reported stands beside the sign before it is sent", async () => {
  const payload = {
    sign: { id: 12 },
    observations: [{ kind: "vandalised", severity: 3, note: "" }],
  };
  await record({ kind: "inspection", payload, sign: { id: 12 } });
  const subject = await loadSubject(app, "12");
  assert.deepEqual(
    subject?.sign?.damage.map((/** @type {any} */ each) => each.kind),
    ["vandalised"],
  );
  assert.equal(subject?.recorded[0].title, "Damage report");
  assert.deepEqual(subject?.needs, []);
});

test("a face put up here takes the place of the one before, and what follows waits for it", async () => {
  const payload = {
    position: { id: 5 },
    face: { label: "001-0JK" },
    installed_on: "2026-11-25",
    removal_reason: "faded",
  };
  const put = await record({ kind: "install", payload, sign: "position:5" });
  const place = await loadPlace(app, "5");
  assert.equal(place?.key, put.client_uuid);
  assert.deepEqual(place?.ref, { operation: put.client_uuid });
  assert.deepEqual(place?.needs, [put.client_uuid]);
  assert.equal(place?.sign?.plan, "p1");
  const old = await loadSubject(app, "12");
  assert.equal(old?.sign?.state, "removed");
  assert.equal(old?.sign?.followed_by, put.client_uuid);
});

test("a face put up and taken back leaves the sign as it was", async () => {
  const payload = { position: { id: 5 }, face: { label: "001-0JK" }, installed_on: "2026-11-25" };
  const put = await record({ kind: "install", payload, sign: "position:5" });
  assert.equal(await app.store.withdraw(put.client_uuid, "slip"), true);
  assert.equal(await loadSubject(app, put.client_uuid), null);
  assert.equal((await loadPlace(app, "5"))?.key, "12");
  assert.equal((await loadSubject(app, "12"))?.sign?.state, "installed");
});

test("a face that waits and is put right does not stand in its own way", async () => {
  const payload = { position: { id: 5 }, face: { label: "001-0JK" }, installed_on: "2026-11-25" };
  const put = await record({ kind: "install", payload, sign: "position:5" });
  await app.store.setAnswers(
    [{ client_uuid: put.client_uuid, answer: "held", code: "conflict", sentence: "Two faces." }],
    { epoch: null, server_ms: 2000 },
  );
  assert.equal((await loadPlace(app, "5"))?.key, put.client_uuid);
  const place = await loadPlace(app, "5", put.client_uuid);
  assert.equal(place?.key, "12");
  assert.equal(place?.sign?.state, "installed");
  assert.deepEqual(place?.needs, []);
});

test("an added sign can be worked on by what put it on record", async () => {
  const payload = {
    support: { new: { latitude_deg: 43.001, longitude_deg: -89.5, accuracy_m: 6 } },
    sign_code: "R1-2",
    variant: "",
    legend_text: "",
    width_in: 36,
    height_in: null,
    facing_deg: 270,
    colours: [{ part: "background", color: "red" }],
  };
  const added = await record({ kind: "add_sign", payload, sign: "" });
  const subject = await loadSubject(app, added.client_uuid);
  assert.equal(subject?.sign?.name, "Yield");
  assert.equal(subject?.position?.facing_deg, 270);
  assert.deepEqual(subject?.needs, [added.client_uuid]);
});

test("what is put right is followed from the record it takes the place of", async () => {
  const payload = { position: { id: 5 }, face: { label: "000-000" }, installed_on: "2026-11-25" };
  const wrong = await record({ kind: "install", payload, sign: "position:5" });
  const right = await record({
    kind: "install",
    payload: { ...payload, face: { label: "001-0JK" } },
    sign: "position:5",
    replaces: wrong.client_uuid,
  });
  const subject = await loadSubject(app, wrong.client_uuid);
  assert.equal(subject?.sign?.label_id, "001-0JK");
  assert.deepEqual(subject?.needs, [right.client_uuid]);
});

test("a moved support stands where it was moved to until the server says otherwise", async () => {
  const payload = { support: { id: 7 }, latitude_deg: 43.5, longitude_deg: -89.6, accuracy_m: 4 };
  await record({ kind: "move_support", payload, sign: "support:7" });
  const subject = await loadSubject(app, "12");
  assert.equal(subject?.support?.latitude_deg, 43.5);
  assert.equal(subject?.support?.accuracy_m, 4);
});

test("a sign this phone knows nothing of is none", async () => {
  assert.equal(await loadSubject(app, "999"), null);
  assert.equal(await loadSubject(app, "6f9619ff-8b86-d011-b42d-00c04fc964ff"), null);
});
