/**
 * Reporting damage: what, how bad, a photo; missing and knocked down are one tap away.
 *
 * @module
 */
import { keepDraft } from "../drafts.js";
import { h, put } from "../dom.js";
import { earlierOf, picked, saveBar, whyAgain, wordsField } from "../form.js";
import { howChips, recordLook } from "../look.js";
import { PhotoField } from "../photo_field.js";
import { chips, notice, section } from "../pieces.js";
import { makeHash } from "../router.js";
import { notCarried, signHead } from "../sign_head.js";
import { loadSubject } from "../subject.js";

const SEVERE = 3;
/** What is seen from afar, and is always severe. */
const GONE = /** @type {[string, string][]} */ ([
  ["missing", "It is missing"],
  ["knocked_down", "It is knocked down"],
]);

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const subject = await loadSubject(app, params.sign);
  if (!subject) {
    notCarried(place, "Report damage");
    return;
  }
  const earlier = await earlierOf(app, params);
  const [seen] = earlier.payload?.observations ?? [];
  const words = app.basics?.words ?? {};
  const photo = new PhotoField(app, { id: "photo", label: "Take a photo", role: "seen" });
  const note = wordsField("note", "Note", earlier.payload?.note ?? seen?.note ?? "");
  const kinds = chips({
    name: "kind",
    legend: "What is wrong",
    // Those of one tap are offered here only to put such a report right.
    choices: (words.observation_kinds ?? []).filter(
      (/** @type {[string, string]} */ [key]) => key === seen?.kind || !GONE.some(
        ([gone]) => gone === key,
      ),
    ),
    value: seen?.kind ?? null,
  });
  const severities = chips({
    name: "severity",
    legend: "How bad",
    choices: (words.severities ?? [])
      .filter((/** @type {[number, string]} */ [key]) => key > 0)
      .map((/** @type {[number, string]} */ [key, said]) => [String(key), said]),
    value: seen ? String(seen.severity) : null,
    isColumn: true,
  });
  const hows = howChips(app, earlier);

  /** @param {string} kind @param {number} severity */
  const record = async (kind, severity) =>
    recordLook(app, { subject, params, earlier, photo }, {
      how: picked(place, "how"),
      note: note.input.value.trim(),
      observations: [{ kind, severity, note: "" }],
    });
  let gone = "";
  const bar = saveBar(app, {
    words: "Save the report",
    check: () => [
      ...(
        picked(place, "kind")
          ? []
          : [{ sentence: "Say what is wrong with the sign.", input: kinds }]
      ),
      ...(picked(place, "severity") ? [] : [{ sentence: "Say how bad it is.", input: severities }]),
    ],
    record: () => (
      gone
        ? record(gone, SEVERE)
        : record(picked(place, "kind"), Number(picked(place, "severity")))
    ),
    after: () => app.closeTo(makeHash("#/sign/:sign", { sign: subject.key })),
    said: "Report saved on this phone",
  });
  put(
    place,
    h("h1", null, "Report damage"),
    await signHead(app, subject),
    whyAgain(earlier),
    notice(
      "warn",
      h(
        "p",
        null,
        "Protect the place first, and follow your local traffic control plan. If a Stop, Yield, Do Not Enter or Wrong Way sign cannot be relied on, call your engineer now: the report alone is not enough.",
      ),
    ),
    section(
      "Gone? One tap saves it",
      h(
        "div",
        { class: "button-pair" },
        GONE.map(([kind, said]) =>
          h(
            "button",
            {
              type: "button",
              class: "button",
              "data-gone": kind,
              onclick: async () => {
                gone = kind;
                await bar.save({ isChecked: true });
                gone = "";
              },
            },
            said,
          ),
        ),
      ),
    ),
    photo.element,
    kinds,
    severities,
    hows,
    note.element,
    bar,
  );
  await photo.open(earlier.operation?.client_uuid ?? null);
  keepDraft(place, window.location.hash, app.now().getTime());
  return { placeName: subject.support?.road || undefined };
}
