// Readings on the phone's keypad: which key does what, and what is asked about.
import assert from "node:assert/strict";
import { test } from "node:test";

import { countWords } from "../../static/js/field/banner.js";
import { dayWords } from "../../static/js/field/day_words.js";
import { instrumentWords } from "../../static/js/field/instrument_choice.js";
import {
  ReadingSession,
  findUnlikely,
  spreadOf,
  spreadWarning,
} from "../../static/js/field/reading_session.js";

const type = (session, text) => [...text].forEach((key) => session.press(key));
const give = (session, ...values) =>
  values.forEach((value) => {
    type(session, value);
    assert.equal(session.keep(), "");
  });

test("values run on: next value, next colour after the fourth, save after the last", () => {
  const session = new ReadingSession(["white", "red"], 4);
  give(session, "40", "41", "42");
  type(session, "43");
  assert.deepEqual(session.step, { kind: "colour", colour: "red" });
  assert.equal(session.goTo("red"), "");
  give(session, "8", "9", "8.5");
  assert.deepEqual(session.step, { kind: "value" });
  type(session, "8.25");
  assert.deepEqual(session.step, { kind: "save" });
  assert.deepEqual(session.sets(), [
    { color: "white", values: ["40", "41", "42", "43"] },
    { color: "red", values: ["8", "9", "8.5", "8.25"] },
  ]);
});

test("a colour that was left early is come back to before saving", () => {
  const session = new ReadingSession(["white", "red"], 2);
  give(session, "40");
  session.goTo("red");
  give(session, "8");
  type(session, "9");
  assert.deepEqual(session.step, { kind: "colour", colour: "white" });
});

test("more than four values are taken", () => {
  const session = new ReadingSession(["white"], 4);
  give(session, "40", "41", "42", "43", "44", "45");
  assert.deepEqual(session.step, { kind: "save" });
  assert.equal(session.valuesOf("white").length, 6);
});

test("the keypad takes no second point, no fourth decimal and no endless number", () => {
  const session = new ReadingSession(["white"], 4);
  type(session, "12.5.678");
  assert.equal(session.typed, "12.567");
  session.press("erase");
  assert.equal(session.typed, "12.56");
  type(session, "999999");
  assert.equal(session.typed, "12.569");
});

test("a value over what any sheeting returns stays on the keypad with the server's sentence", () => {
  const session = new ReadingSession(["white"], 4);
  type(session, "2000.1");
  assert.match(session.keep(), /over 2000/);
  assert.equal(session.typed, "2000.1");
  assert.equal(session.valuesOf("white").length, 0);
  session.press("erase");
  session.press("erase");
  assert.equal(session.keep(), "");
});

test("a value is changed or taken out, and what stood on the keypad is not lost", () => {
  const session = new ReadingSession(["white"], 4);
  give(session, "40", "41");
  type(session, "42");
  session.change(0);
  assert.deepEqual(session.valuesOf("white"), ["40", "41", "42"]);
  assert.equal(session.typed, "40");
  session.press("erase");
  type(session, "9");
  session.keep();
  assert.deepEqual(session.valuesOf("white"), ["49", "41", "42"]);
  session.change(1);
  session.takeOut();
  assert.deepEqual(session.valuesOf("white"), ["49", "42"]);
});

test("what stands on the keypad counts in the mean already, and not twice once it is kept", () => {
  const session = new ReadingSession(["white"], 4);
  give(session, "40");
  type(session, "4");
  assert.deepEqual(session.sets(), [{ color: "white", values: ["40", "4"] }]);
  session.keep();
  assert.deepEqual(session.sets(), [{ color: "white", values: ["40", "4"] }]);
  session.change(0);
  assert.deepEqual(session.sets(), [{ color: "white", values: ["40", "4"] }]);
});

test("what was typed comes back after the page was closed", () => {
  const session = new ReadingSession(["white", "red"], 4);
  give(session, "40", "41");
  session.goTo("red");
  type(session, "8.");
  const again = new ReadingSession(["white", "red"], 4);
  again.resume(JSON.parse(JSON.stringify(session.asKept())));
  assert.deepEqual(again.valuesOf("white"), ["40", "41"]);
  assert.equal(again.colour, "red");
  assert.equal(again.typed, "8.");
});

// As the server asks (engineering/inspection/readings.py, looks_swapped): common practice, no source.
test("white below red is asked about, white equal to red is not", () => {
  const sets = (white, red) => [
    { color: "white", values: white },
    { color: "red", values: red },
  ];
  assert.match(findUnlikely(sets(["9.9", "10"], ["10"]))[0], /below the red/);
  assert.deepEqual(findUnlikely(sets(["9.9", "10.1"], ["10"])), []);
  assert.deepEqual(findUnlikely([{ color: "white", values: ["1"] }]), []);
});

// The sample standard deviation of 2, 4, 4, 4, 5, 5, 7, 9 is sqrt(32 / 7); their mean is 5 (a
// textbook example, from memory; 32 is the sum of the squared differences, easily checked).
test("the spread is the standard deviation over the mean", () => {
  const spread = spreadOf(["2", "4", "4", "4", "5", "5", "7", "9"]);
  assert.ok(Math.abs(spread - Math.sqrt(32 / 7) / 5) < 1e-12);
  assert.equal(spreadOf(["5"]), null);
  assert.equal(spreadOf(["0", "0"]), null);
});

test("values that differ more than the agency reckons with are warned of", () => {
  assert.match(spreadWarning("White", ["100", "60"], 0.1), /^White spreads by 35 % of its mean/);
  assert.equal(spreadWarning("White", ["100", "98"], 0.1), "");
  assert.equal(spreadWarning("White", ["100", "60"], null), "");
});

test("the top line says what waits and what was refused", () => {
  const none = { waiting: 0, held: 0, refused: 0, photos: 0 };
  assert.equal(countWords(none), "all sent");
  assert.equal(countWords({ ...none, waiting: 3 }), "3 to send");
  assert.equal(countWords({ ...none, photos: 1 }), "1 photo to send");
  assert.equal(countWords({ ...none, waiting: 1, refused: 2 }), "1 to send, 2 refused");
});

test("a day is as exact as it is known", () => {
  assert.equal(dayWords("2015"), "2015");
  assert.equal(dayWords("2015-05"), "May 2015");
  assert.equal(dayWords("2015-05-01"), "1 May 2015");
  assert.equal(dayWords(null), "not known");
});

test("an instrument is named with its last check and its certificate, and what speaks against it", () => {
  const now = new Date(2026, 10, 25, 21, 0);
  const instrument = { id: 1, serial: "RT-1", certificate_due_on: "2027-02-16", doubt: "" };
  const today = { at: new Date(2026, 10, 25, 19, 5), isGood: true };
  assert.deepEqual(instrumentWords(instrument, today, now), {
    words: "good today 19:05; certificate to 16 Feb 2027",
    warning: "",
  });
  assert.match(instrumentWords(instrument, null, now).warning, /Not checked today/);
  assert.match(
    instrumentWords(instrument, { ...today, isGood: false }, now).warning,
    /Out of tolerance/,
  );
  const old = { ...instrument, certificate_due_on: "2026-11-24" };
  assert.match(instrumentWords(old, today, now).warning, /Certificate run out/);
  assert.equal(
    instrumentWords({ ...instrument, certificate_due_on: "2026-11-25" }, today, now).warning,
    "",
  );
});
