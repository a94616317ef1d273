/**
 * Saying that something on record about a sign is not so.
 *
 * @module
 */
import { keepDraft } from "../drafts.js";
import { clear, h, put } from "../dom.js";
import { sizeWords } from "../fits.js";
import { earlierOf, picked, saveBar, whyAgain, wordsField } from "../form.js";
import { identifiedOf } from "../identified.js";
import { recordAction } from "../operations.js";
import { chips } from "../pieces.js";
import { makeHash } from "../router.js";
import { notCarried, roadWords, signHead } from "../sign_head.js";
import { faceName } from "../sign_lines.js";
import { loadSubject } from "../subject.js";
import { facingWords } from "../way_words.js";

const LONGEST_SAID = 255;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const subject = await loadSubject(app, params.sign);
  if (!subject) {
    notCarried(place, "Something on record is wrong");
    return;
  }
  const earlier = await earlierOf(app, params);
  const onRecord = h("p", { class: "on-record", role: "status" });
  const showRecord = (/** @type {string} */ key) => {
    const words = recordWords(key, subject);
    clear(onRecord, words ? ["On record: ", h("strong", null, words)] : "");
  };
  const fields = chips({
    name: "field",
    legend: "What is wrong",
    choices: app.basics?.words?.wrong_data_fields ?? [],
    value: earlier.payload?.field ?? null,
    onPick: showRecord,
  });
  const said = wordsField("said", "What is so", earlier.payload?.said ?? "", {
    most: LONGEST_SAID,
    hint: "The record is not changed by this: your engineer looks at it and puts it right.",
  });
  showRecord(earlier.payload?.field ?? "");
  put(
    place,
    h("h1", null, "Something on record is wrong"),
    await signHead(app, subject),
    whyAgain(earlier),
    fields,
    onRecord,
    said.element,
    saveBar(app, {
      words: "Save what is so",
      check: () => [
        ...(picked(place, "field") ? [] : [{ sentence: "Pick what is wrong.", input: fields }]),
        ...(
          said.input.value.trim()
            ? []
            : [{ sentence: "Write what is so, as you see it.", input: said.input }]
        ),
      ],
      record: () =>
        recordAction(app, {
          kind: "flag_record",
          payload: {
            sign: subject.ref,
            field: picked(place, "field"),
            said: said.input.value.trim(),
          },
          sign: subject.signKey,
          needs: subject.needs,
          replaces: earlier.replaces,
          identified: identifiedOf(params),
        }),
      after: () => app.closeTo(makeHash("#/sign/:sign", { sign: subject.key })),
    }),
  );
  keepDraft(place, window.location.hash, app.now().getTime());
  return { placeName: subject.support?.road || undefined };
}

/**
 * Return what is on record of the thing that is said to be wrong; "" where there is no one word.
 *
 * @param {string} key
 * @param {import("../subject.js").Subject} subject
 * @returns {string}
 */
function recordWords(key, { sign, position, support }) {
  const face = sign ?? {};
  switch (key) {
    case "code":
      return [
        faceName(face),
        face.legend_text ? `“${face.legend_text}”` : "",
      ].filter(Boolean).join(", ");
    case "size":
      return sizeWords(face.width_in, face.height_in);
    case "place":
      return roadWords(support);
    case "facing":
      return facingWords(position?.facing_deg);
    case "sheeting":
      return face.colours?.length ? face.colours.join(", ") : "colours not known";
    case "dates":
      return `made ${face.fabricated_on ?? "not known"}, put up ${face.installed_on ?? "not known"}`;
    case "label":
      return face.label_id || "no label known";
    default:
      return "";
  }
}
