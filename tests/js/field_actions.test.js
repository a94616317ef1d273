/** What the field app's action screens work out on the phone, against the server's own rules. */
import assert from "node:assert/strict";
import { test } from "node:test";

import { compassWords, facingOf, headingOf } from "../../static/js/field/bearings.js";
import { checkResult } from "../../static/js/field/check_result.js";
import { misfits, normaliseCode, sizeWords } from "../../static/js/field/fits.js";
import { averageFix, isWorse } from "../../static/js/field/fixes.js";
import { hybridCheck, readLabel } from "../../static/js/field/labels.js";
import { evidenceOf, lacks } from "../../static/js/field/night_evidence.js";
import { keptSize } from "../../static/js/field/pictures.js";

test("a label is read whatever the case, the blanks and the letters that look like figures", () => {
  // The standard's own example for MOD 11,10: 0794 with check digit 5 (ISO/IEC 7064).
  assert.equal(hybridCheck([0, 7, 9, 4], 10), 5);
  // Printed by the server (engineering/production/labels.py): serial 1042.
  assert.equal(readLabel(" oo1 ojk ").label, "001-0JK");
  assert.equal(readLabel("001–0jk").label, "001-0JK");
});

test("a label with one wrong character is said to be wrong", () => {
  assert.match(readLabel("001-0JM").sentence, /last character does not fit/);
  assert.match(readLabel("001-0J*").sentence, /“\*” is never part of one/);
  assert.match(readLabel("001").sentence, /too short/);
  // A U is in no label.
  assert.match(readLabel("U01-0JK").sentence, /“U” is never part/);
});

test("every single wrong character of a label is caught", () => {
  // What a check character by ISO/IEC 7064 is for (clause on error detection, from memory).
  const right = "0010JK";
  for (let at = 0; at < right.length; at += 1) {
    for (const other of "0123456789ABCDEFGHJKMNPQRSTVWXYZ") {
      const typed = right.slice(0, at) + other + right.slice(at + 1);
      assert.equal(readLabel(typed).label === "", other !== right[at], typed);
    }
  }
});

test("a sign looked at from the south faces south", () => {
  // Common practice, no source: one looks north at a face that looks back south.
  assert.equal(facingOf(0), 180);
  assert.equal(facingOf(350), 170);
  assert.equal(compassWords(180), "south");
  assert.equal(compassWords(359), "north");
  assert.equal(compassWords(null), "");
});

test("a compass is believed only where the phone says its north is north", () => {
  // W3C Device Orientation: alpha turns anticlockwise; only absolute ones start at north.
  assert.equal(headingOf({ absolute: true, alpha: 90 }), 270);
  assert.equal(headingOf({ absolute: false, alpha: 90 }), null);
  assert.equal(headingOf({ webkitCompassHeading: 45 }), 45);
});

test("fixes are averaged by how good they are, and averaging is not taken to make them better", () => {
  assert.equal(averageFix([]), null);
  const one = { latitude_deg: 43, longitude_deg: -89, accuracy_m: 5 };
  const mean = averageFix([one, one, one]);
  assert.equal(mean?.accuracy_m, 5);
  assert.equal(mean?.count, 3);
  const far = { latitude_deg: 43.001, longitude_deg: -89, accuracy_m: 50 };
  const weighted = averageFix([one, far]);
  // Weights 1/25 and 1/2500, so 100 to 1.
  assert.ok(Math.abs((weighted?.latitude_deg ?? 0) - (43 + 0.001 / 101)) < 1e-12);
});

test("fixes that scatter are no better than they scatter", () => {
  const fixes = [43, 43.0002].map((latitude_deg) => ({
    latitude_deg,
    longitude_deg: -89,
    accuracy_m: 3,
  }));
  // A degree of latitude is 111.2 km on the mean sphere; half of 0.0002° is 11.1 m.
  const scatter = averageFix(fixes)?.accuracy_m ?? 0;
  assert.ok(Math.abs(scatter - 11.12) < 0.011, String(scatter));
});

test("fixes on both sides of the date line average there", () => {
  const fixes = [179.9999, -179.9999].map((longitude_deg) => ({
    latitude_deg: 0,
    longitude_deg,
    accuracy_m: 5,
  }));
  assert.ok(Math.abs(Math.abs(averageFix(fixes)?.longitude_deg ?? 0) - 180) < 1e-9);
});

test("a fix is worse only than a record that says how good it is", () => {
  assert.equal(isWorse(12, 3), true);
  assert.equal(isWorse(3, 3), false);
  assert.equal(isWorse(12, null), false);
});

test("a check exactly at its tolerance is good, a thousandth beyond is not", () => {
  // As the server: 105 on 100 at 5 % is good (engineering/inspection/instruments.py).
  assert.equal(checkResult("100", "105", 0.05).result?.isGood, true);
  assert.equal(checkResult("100", "94.9", 0.05).result?.isGood, false);
  assert.equal(checkResult("100", "105.001", 0.05).result?.isGood, false);
  // 0.07 has no exact binary form: 7.0 on 100.0 is still a tie.
  assert.equal(checkResult("100.0", "107.0", 0.07).result?.isGood, true);
});

test("how far an instrument is off shows on which side of its tolerance it is", () => {
  assert.deepEqual(checkResult("100", "97.6", 0.05).result, {
    isGood: true,
    offWords: "2.4 % low",
    toleranceWords: "5 %",
  });
  assert.equal(checkResult("100", "105.001", 0.05).result?.offWords, "5.001 % high");
  assert.equal(checkResult("250", "250.0", 0.05).result?.offWords, "just as the reference");
});

test("what is wrong with a typed check value is said with the value", () => {
  assert.match(checkResult("", "97", 0.05).sentence, /reference’s value is not typed/);
  assert.match(checkResult("100", "9o", 0.05).sentence, /“9o”/);
  assert.match(checkResult("0", "90", 0.05).sentence, /more than 0/);
  assert.match(checkResult("100", "2001", 0.05).sentence, /over 2000/);
  assert.match(checkResult("100", "99", null).sentence, /not known by how much/);
});

const STOP = {
  code: "R1-1",
  variant: "",
  legend_text: null,
  width_in: 30,
  height_in: 30,
  basis: "standard size on a conventional single-lane road, table 2B-1",
};

test("a face of another code, legend or size does not fit its place", () => {
  assert.deepEqual(misfits({ code: "r1-1", width_in: 30, height_in: 30 }, STOP), []);
  assert.match(misfits({ code: "R1-2" }, STOP)[0], /is R1-2, but this place asks for R1-1/);
  assert.match(
    misfits({ code: "R1-1", width_in: 36, height_in: 36 }, STOP)[0],
    /36 × 36 in, but this place asks for 30 × 30 in \(standard size/,
  );
  assert.match(
    misfits(
      { code: "D3-1", legend_text: "Oak St" },
      { ...STOP, code: "D3-1", legend_text: "Elm St" },
    )[0],
    /reads “Oak St”/,
  );
  const limit = { ...STOP, code: "R2-1", wording: "Speed Limit 35" };
  assert.match(
    misfits({ code: "R2-1", legend_text: "Speed Limit 50" }, limit)[0],
    /reads “Speed Limit 50”, but this place asks for “Speed Limit 35”/,
  );
  assert.deepEqual(misfits({ code: "R2-1", legend_text: "SPEED LIMIT 35" }, limit), []);
  assert.deepEqual(misfits({ code: "R2-1" }, limit), []);
});

test("a size that is not known contradicts none, and a place without a code takes no face", () => {
  assert.deepEqual(misfits({ code: "R1-1" }, STOP), []);
  assert.deepEqual(
    misfits(
      { code: "R1-1", width_in: 36, height_in: 36 },
      { ...STOP, width_in: null, height_in: null },
    ),
    [],
  );
  assert.match(misfits({ code: "R1-1" }, { ...STOP, code: "" })[0], /not known which sign/);
  assert.match(misfits({ code: "R1-1" }, STOP, true)[0], /out of use/);
  assert.equal(normaliseCode(" W16 – 7P "), "w16-7p");
  assert.equal(sizeWords(30, null), "30 × ? in");
});

const AGE = {
  name: "inspector_age_years",
  label: "the inspector's age",
  kind: "number",
  per_color: false,
  unit: "years",
  minimum: "60",
};
const BEAMS = {
  name: "low_beams_aimed",
  label: "the low beams were on, and aimed",
  kind: "confirm",
  per_color: false,
};
const PANEL = { name: "panel", label: "the panel's number", kind: "text", per_color: true };
const LEVEL = {
  name: "ra_cd_lx_m2",
  label: "the panel's level",
  kind: "number",
  per_color: true,
  unit: "cd/lx/m²",
  must_reach_level: true,
};
const EVENING = {
  name: "viewed_on",
  label: "the evening they were viewed",
  kind: "date",
  per_color: false,
  must_be_same_night: true,
};
const FEET = {
  name: "distance_ft",
  label: "the distance",
  kind: "number",
  per_color: false,
  unit: "ft",
  exact: "25",
};
/** @param {any[]} fields @param {any} evidence @param {any} [levels] */
const sentences = (fields, evidence, levels) =>
  lacks(fields, evidence, "2026-11-25", levels).map((each) => each.sentence).join(" ");

test("evidence that is missing or outside its procedure is said before it is saved", () => {
  // Bounds of the published procedures: engineering/standards/tables/night_procedures.toml.
  assert.match(
    sentences([AGE], evidenceOf([AGE], { inspector_age_years: "57" }, [])),
    /asks for 60 years or more/,
  );
  assert.equal(sentences([AGE], evidenceOf([AGE], { inspector_age_years: "60" }, [])), "");
  assert.match(sentences([AGE], evidenceOf([AGE], {}, [])), /not filled in yet/);
  assert.match(sentences([BEAMS], evidenceOf([BEAMS], {}, [])), /Tick it/);
  assert.match(sentences([FEET], evidenceOf([FEET], { distance_ft: "30" }, [])), /is for 25 ft/);
});

test("the night after midnight is still that of the evening before", () => {
  assert.equal(sentences([EVENING], { viewed_on: "2026-11-24" }), "");
  assert.equal(sentences([EVENING], { viewed_on: "2026-11-25" }), "");
  assert.match(sentences([EVENING], { viewed_on: "2026-11-23" }), /same night/);
  assert.match(sentences([EVENING], { viewed_on: "2026-11-26" }), /same night/);
});

test("colours left empty are left out, and a dim panel is refused", () => {
  const fields = [PANEL, LEVEL];
  const evidence = evidenceOf(fields, {}, [
    { color: "white", typed: { panel: "P1", ra_cd_lx_m2: "40" } },
    { color: "red", typed: { panel: "", ra_cd_lx_m2: "" } },
  ]);
  assert.deepEqual(evidence, { colors: [{ color: "white", panel: "P1", ra_cd_lx_m2: "40" }] });
  assert.equal(sentences(fields, evidence, { white: 35000 }), "");
  assert.match(sentences(fields, evidence, { white: 50000 }), /below the level of 50/);
  assert.match(sentences(fields, { colors: [] }), /at least one colour/);
});

test("a photo is made smaller, never larger, and keeps its shape", () => {
  assert.deepEqual(keptSize(4000, 3000, 2560), { width_px: 2560, height_px: 1920 });
  assert.deepEqual(keptSize(800, 600, 2560), { width_px: 800, height_px: 600 });
});
