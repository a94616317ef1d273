/**
 * Looking at a sign by night: one of three procedures, each with the evidence it asks for.
 *
 * @module
 */
import { deviceDay } from "../clock.js";
import { keepDraft } from "../drafts.js";
import { clear, h, put } from "../dom.js";
import { dayField, earlierOf, numberField, picked, pickField, saveBar, textField, tickField, whyAgain, wordsField } from "../form.js";
import { recordLook } from "../look.js";
import { evidenceOf, lacks } from "../night_evidence.js";
import { PhotoField } from "../photo_field.js";
import { chips, notice, section, swatch } from "../pieces.js";
import { colourWords, start } from "../recorded_words.js";
import { makeHash } from "../router.js";
import { notCarried, signHead } from "../sign_head.js";
import { loadSubject } from "../subject.js";

/** @typedef {import("../night_evidence.js").EvidenceField} EvidenceField */
/** @typedef {{ key: string, name: string, decision: string, is_unverified: boolean, fields: EvidenceField[] }} Procedure */

const SETTING = "night_stated";
const ADEQUATE = "adequate";
/** A face whose colours nobody knows is asked for so many. */
const COLOURS_OF_AN_UNKNOWN_FACE = 2;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const subject = await loadSubject(app, params.sign);
  /** @type {Procedure[]} */
  const procedures = app.basics?.night_procedures ?? [];
  if (!subject || procedures.length === 0) {
    notCarried(place, "Look at night");
    return;
  }
  const earlier = await earlierOf(app, params);
  const rating = earlier.payload?.visual_rating ?? null;
  const kept = await statedTonight(app);
  const levels = await levelsOf(app, subject.sign);
  const colors = coloursOf(subject.sign, app);
  const answer = chips({
    name: "answer",
    legend: "By night the sign is",
    choices: [
      [ADEQUATE, "adequate: keep it"],
      ["not_adequate", "not adequate: replace it"],
    ],
    value: rating ? (rating.is_adequate ? ADEQUATE : "not_adequate") : null,
    isColumn: true,
  });
  const note = wordsField("note", "Note", earlier.payload?.note ?? "");
  const photo = new PhotoField(app, { id: "photo", label: "Take a photo", role: "seen" });
  const asked = h("div", { class: "stack-small" });
  let procedure = procedures[0];
  /** @type {Asked} */
  let form = { forAll: new Map(), forEach: [] };
  const ask = (/** @type {string} */ key) => {
    procedure = procedures.find((each) => each.key === key) ?? procedures[0];
    const before = rating?.procedure === procedure.key
      ? rating.evidence
      : kept[procedure.key] ?? {};
    form = showProcedure(
      asked,
      procedure,
      { colors, levels, before, choices: app.basics?.colours ?? [] },
    );
  };
  const first = rating?.procedure ?? kept.procedure ?? procedures.at(-1)?.key ?? "";
  const which = chips({
    name: "procedure",
    legend: "Procedure",
    choices: procedures.map(({ key, name }) => [key, start(name)]),
    value: first,
    onPick: ask,
  });
  ask(first);
  const evidence = () => evidenceOf(
    procedure.fields,
    typedOf(form.forAll),
    form.forEach.map((each) => ({ color: each.color(), typed: typedOf(each.fields) })),
  );
  put(
    place,
    h("h1", null, "Look at night"),
    await signHead(app, subject),
    whyAgain(earlier),
    which,
    asked,
    answer,
    h("p", { class: "soft small" }, app.basics?.hit_rate ?? ""),
    note.element,
    photo.element,
    saveBar(app, {
      words: "Save the rating",
      check: () => [
        ...lacks(procedure.fields, evidence(), deviceDay(app.now()), levels).map(({ name, color, sentence }) => ({
          sentence,
          input: inputOf(form, name, color),
        })),
        ...(
          picked(place, "answer")
            ? []
            : [{ sentence: "Say whether the sign is adequate by night.", input: answer }]
        ),
      ],
      record: async () => {
        const stated = evidence();
        await keepStated(app, procedure, stated);
        return recordLook(app, { subject, params, earlier, photo }, {
          how: "visual_night",
          note: note.input.value.trim(),
          visual_rating: {
            procedure: procedure.key,
            is_adequate: picked(place, "answer") === ADEQUATE,
            evidence: stated,
          },
        });
      },
      after: () => app.closeTo(makeHash("#/sign/:sign", { sign: subject.key })),
      said: "Rating saved on this phone",
    }),
  );
  await photo.open(earlier.operation?.client_uuid ?? null);
  keepDraft(place, window.location.hash, app.now().getTime());
  return { placeName: subject.support?.road || undefined };
}

/**
 * @typedef {Map<string, HTMLInputElement | HTMLSelectElement>} Fields
 * @typedef {{ forAll: Fields, forEach: Array<{ color: () => string, fields: Fields }> }} Asked
 */

/**
 * Show what a procedure asks for: once, and colour by colour.
 *
 * @param {HTMLElement} place
 * @param {Procedure} procedure
 * @param {{ colors: string[], levels: Record<string, number>, before: Record<string, any>,
 *   choices: [string, string][] }} given
 * @returns {Asked}
 */
function showProcedure(place, procedure, { colors, levels, before, choices }) {
  const once = procedure.fields.filter((each) => !each.per_color);
  const ofColors = procedure.fields.filter((each) => each.per_color);
  /** @type {Asked} */
  const form = { forAll: new Map(), forEach: [] };
  const sections = ofColors.length === 0
    ? []
    : (colors.length ? colors : Array(COLOURS_OF_AN_UNKNOWN_FACE).fill("")).map((color, at) => {
    const stated = (before.colors ?? []).find(
      (/** @type {any} */ each) => each.color === color,
    ) ?? {};
    /** @type {Fields} */
    const fields = new Map();
    const pick = color
      ? null
      : pickField(`color_${at}`, "Colour", choices, "", { empty: "pick the colour" });
    const elements = ofColors.map(
      (each) => fieldFor(each, `${each.name}_${at}`, stated[each.name], fields),
    );
    form.forEach.push({ color: () => color || (pick?.input.value ?? ""), fields });
    const level = levels[color] ? `, level ${levels[color] / 1000}` : "";
    return h(
      "section",
      { class: "colour-block" },
      h(
        "h2",
        null,
        color ? [swatch(color), ` ${start(colourWords(color))}${level}`] : `Colour ${at + 1}`,
      ),
      pick?.element ?? null,
      elements,
    );
  });
  clear(
    place,
    h(
      "p",
      null,
      `By this procedure: ${procedure.decision}.`,
      procedure.is_unverified
        ? [" ", h("span", { class: "tag unverified" }, "not all checked in a source")]
        : null,
    ),
    // What is only confirmed comes last.
    [...once].sort((a, b) => Number(a.kind === "confirm") - Number(b.kind === "confirm")).map(
      (each) => fieldFor(each, each.name, before[each.name], form.forAll),
    ),
    sections,
  );
  return form;
}

/**
 * @param {EvidenceField} asked
 * @param {string} id
 * @param {unknown} value
 * @param {Fields} fields
 * @returns {HTMLElement}
 */
function fieldFor(asked, id, value, fields) {
  const label = start(asked.label) + (asked.unit ? `, ${asked.unit}` : "");
  const text = typeof value === "string" ? value : "";
  const hint = /** @type {any} */ (asked).help ?? "";
  const made =
    asked.kind === "confirm"
      ? tickField(id, label, false)
      : asked.kind === "date"
        ? dayField(id, label, text)
        : asked.kind === "choice"
          ? pickField(id, label, (asked.choices ?? []).map((each) => [each, each]), text)
          : asked.kind === "number"
            ? numberField(id, label, text, { hint })
            : textField(id, label, text, { hint, most: 60 });
  fields.set(asked.name, made.input);
  return made.element;
}

/**
 * @param {Fields} fields
 * @returns {Record<string, string | boolean>}
 */
function typedOf(fields) {
  return Object.fromEntries(
    [...fields].map(
      ([name, input]) => [
        name,
        input instanceof HTMLInputElement && input.type === "checkbox"
          ? input.checked
          : input.value,
      ],
    ),
  );
}

/**
 * @param {Asked} form
 * @param {string} name
 * @param {string} color
 * @returns {HTMLElement | null}
 */
function inputOf(form, name, color) {
  const ofColor = form.forEach.find((each) => each.color() === color);
  return form.forAll.get(name) ?? (ofColor ?? form.forEach[0])?.fields.get(name) ?? null;
}

/**
 * Return the colours of a face that are looked at; black returns no light.
 *
 * @param {Record<string, any> | null} sign
 * @param {import("../page.js").App} app
 * @returns {string[]}
 */
function coloursOf(sign, app) {
  const read = new Set((app.basics?.colours ?? []).map((/** @type {[string]} */ [key]) => key));
  return (sign?.colours ?? []).filter((/** @type {string} */ each) => read.has(each));
}

/**
 * Return the level of each colour where one is sure, in thousandths.
 *
 * @param {import("../page.js").App} app
 * @param {Record<string, any> | null} sign
 * @returns {Promise<Record<string, number>>}
 */
async function levelsOf(app, sign) {
  const plan = sign?.plan ? await app.store.plan(sign.plan) : null;
  /** @type {Record<string, number>} */
  const levels = {};
  for (const element of plan?.elements ?? []) {
    const found = [...new Set(element.candidates.map((/** @type {any} */ each) => each.level))];
    if (element.kind === "color" && found.length === 1 && typeof found[0] === "number") {
      levels[element.color] = found[0];
    }
  }
  return levels;
}

/**
 * Return what was stated for the last sign of the same day; ticks are made anew.
 *
 * @param {import("../page.js").App} app
 * @returns {Promise<Record<string, any>>}
 */
async function statedTonight(app) {
  const kept = await app.store.setting(SETTING);
  return kept?.day === deviceDay(app.now()) ? kept : {};
}

/**
 * @param {import("../page.js").App} app
 * @param {Procedure} procedure
 * @param {Record<string, unknown>} stated
 */
async function keepStated(app, procedure, stated) {
  await app.store.setSetting(SETTING, {
    ...(await statedTonight(app)),
    day: deviceDay(app.now()),
    procedure: procedure.key,
    [procedure.key]: stated,
  });
}
