/**
 * Checking an instrument against its reference, before the readings and after them.
 *
 * @module
 */
import { checkResult } from "../check_result.js";
import { checksToday, instrumentKey } from "../checks_today.js";
import { clockTime, dayWords } from "../day_words.js";
import { keepDraft } from "../drafts.js";
import { clear, h, put } from "../dom.js";
import { earlierOf, numberField, picked, saveBar, whyAgain } from "../form.js";
import { recordAction } from "../operations.js";
import { chips, notice } from "../pieces.js";
import { instrumentInHand, takeInstrument } from "../instrument_choice.js";

/** @typedef {import("../instrument_choice.js").Instrument} Instrument */

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  /** @type {Instrument[]} */
  const instruments = app.basics?.instruments ?? [];
  const earlier = await earlierOf(app, params);
  const named = (/** @type {string | undefined} */ id) => instruments.find(
    (each) => String(each.id) === id,
  ) ?? null;
  let instrument = named(params.instrument) ?? (await instrumentInHand(app));
  const facts = h("div", { class: "stack-small" });
  const result = h("div", { role: "status", "data-result": true });
  const reference = numberField("reference", "Reference, cd/lx/m²", earlier.payload?.reference_ra_cd_lx_m2 ?? "", {
    hint: "As on the reference’s own certificate.",
  });
  const shown = numberField(
    "shown",
    "Shown by the instrument, cd/lx/m²",
    earlier.payload?.shown_ra_cd_lx_m2 ?? "",
  );
  const tolerance = () => instrument?.check_tolerance_rel ?? null;
  const showResult = () => {
    const isTyped = reference.input.value.trim() && shown.input.value.trim();
    clear(
      result,
      isTyped && instrument
        ? resultPiece(reference.input.value, shown.input.value, tolerance())
        : "",
    );
  };
  const pick = async (/** @type {string} */ id) => {
    instrument = named(id);
    await takeInstrument(app, instrument?.id ?? null);
    await showFacts();
    showResult();
  };
  const showFacts = async () => {
    const today = instrument ? await checksToday(app, instrument.id) : [];
    clear(facts, instrument ? factPieces(instrument, today) : "");
    if (instrument && today.length && !reference.input.value) {
      reference.input.value = today[0].reference;
    }
    return today;
  };
  const which = chips({
    name: "instrument",
    legend: "Instrument",
    choices: instruments.map(({ id, serial }) => [String(id), serial]),
    value: instrument ? String(instrument.id) : null,
    onPick: pick,
  });
  const today = await showFacts();
  const moment = chips({
    name: "moment",
    legend: "This check is",
    choices: [
      ["before", "before the readings"],
      ["after", "after the readings"],
    ],
    value: earlier.payload?.moment ?? (
      today.some((each) => each.moment === "before") ? "after" : "before"
    ),
  });
  for (const { input } of [reference, shown]) {
    input.addEventListener("input", showResult);
  }
  const bar = saveBar(app, {
    words: "Save the check",
    check: () => {
      if (!instrument) {
        return [{ sentence: "Pick the instrument.", input: which }];
      }
      const { sentence } = checkResult(reference.input.value, shown.input.value, tolerance());
      const about = reference.input.value.trim() ? shown.input : reference.input;
      return sentence ? [{ sentence, input: about }] : [];
    },
    record: () => {
      const id = instrument?.id ?? 0;
      return recordAction(app, {
        kind: "check",
        payload: {
          instrument_id: id,
          moment: picked(place, "moment"),
          reference_ra_cd_lx_m2: reference.input.value.trim(),
          shown_ra_cd_lx_m2: shown.input.value.trim(),
        },
        sign: instrumentKey(id),
        replaces: earlier.replaces,
      });
    },
    after: () => app.back(),
    said: "Check saved on this phone",
  });
  // Beside the button, so that it is seen while the keys cover half the phone.
  bar.prepend(result);
  put(
    place,
    h("h1", null, "Check an instrument"),
    whyAgain(earlier),
    instruments.length
      ? null
      : notice(
        "warn",
        h(
          "p",
          null,
          "No instrument is on record for your agency, as far as this phone knows. Ask your engineer to register it, then take today’s work along again.",
        ),
      ),
    which,
    facts,
    moment,
    reference.element,
    shown.element,
    h(
      "p",
      { class: "small soft" },
      "Outside its tolerance, the readings since the last good check are kept, and your engineer settles them.",
    ),
    bar,
  );
  keepDraft(place, window.location.hash, app.now().getTime());
  showResult();
}

/**
 * Return the result of a check: good or not in a word, by how much, and what it may be.
 *
 * @param {string} reference
 * @param {string} shown
 * @param {number | null} tolerance_rel
 * @returns {HTMLElement}
 */
function resultPiece(reference, shown, tolerance_rel) {
  const { result, sentence } = checkResult(reference, shown, tolerance_rel);
  if (!result) {
    return notice("warn", h("p", null, sentence));
  }
  return notice(
    result.isGood ? "" : "stop",
    h("p", { class: "check-word" }, result.isGood ? "Good" : "Outside its tolerance"),
    h(
      "p",
      null,
      `It reads ${result.offWords}; up to ${result.toleranceWords} either way is good.`,
      result.isGood ? null : " Save this check, zero the instrument and check it again.",
    ),
  );
}

/**
 * @param {Instrument} instrument
 * @param {Array<{ moment: string, shown: string, reference: string, at_ms: number }>} today
 * @returns {HTMLElement[]}
 */
function factPieces(instrument, today) {
  const last = instrument.last_check;
  const lines = today.length
    ? today.map((each) => {
        const { result } = checkResult(each.reference, each.shown, instrument.check_tolerance_rel);
        const found = result
          ? (
            result.isGood
              ? `good, ${result.offWords}`
              : `outside its tolerance, ${result.offWords}`
          )
          : "not judged";
        return `Today ${clockTime(new Date(each.at_ms))}, ${each.moment} the readings: ${found}`;
      })
    : [
      last
        ? `Last check on ${dayWords(last.checked_at.slice(0, "2026-11-25".length))}: ${last.is_within_tolerance ? "good" : "outside its tolerance"}`
        : "No check on record yet",
    ];
  return [
    h(
      "ul",
      { class: "plain small" },
      lines.map((each) => h("li", null, each)),
      h(
        "li",
        null,
        `Certificate due ${instrument.certificate_due_on ? dayWords(instrument.certificate_due_on) : "on a day not known"}`,
      ),
    ),
    ...(instrument.doubt ? [notice("warn", h("p", null, `In doubt: ${instrument.doubt}.`))] : []),
  ];
}
