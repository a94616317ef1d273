/**
 * Taking a face down with nothing put in its place.
 *
 * @module
 */
import { deviceDay } from "../clock.js";
import { keepDraft } from "../drafts.js";
import { h, put } from "../dom.js";
import { dayField, dayWrong, earlierOf, picked, saveBar, whyAgain, wordsField } from "../form.js";
import { identifiedOf } from "../identified.js";
import { recordAction } from "../operations.js";
import { PhotoField } from "../photo_field.js";
import { chips, notice } from "../pieces.js";
import { makeHash } from "../router.js";
import { notCarried, signHead } from "../sign_head.js";
import { loadSubject } from "../subject.js";

const LONGEST_NOTE = 255;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const subject = await loadSubject(app, params.sign);
  if (!subject) {
    notCarried(place, "Take this face down");
    return;
  }
  const earlier = await earlierOf(app, params);
  const today = deviceDay(app.now());
  const reasons = chips({
    name: "reason",
    legend: "Why it comes down",
    choices: app.basics?.words?.removal_reasons ?? [],
    value: earlier.payload?.reason ?? null,
  });
  const day = dayField("removed_on", "Taken down on", earlier.payload?.removed_on ?? today);
  const note = wordsField("note", "Note", earlier.payload?.note ?? "", { most: LONGEST_NOTE });
  const photo = new PhotoField(
    app,
    { id: "photo", label: "Take a photo of the place now", role: "after" },
  );
  const positionId = subject.position?.id;
  put(
    place,
    h("h1", null, "Take this face down"),
    await signHead(app, subject),
    whyAgain(earlier),
    notice(
      "warn",
      h(
        "p",
        null,
        "Only when nothing goes up in its place today. ",
        positionId
          ? h(
            "a",
            {
              class: "inline",
              href: makeHash("#/install/:position", { position: positionId }),
            },
            "Put up a new face instead",
          )
          : null,
      ),
      h("p", null, "If the place stays without its sign, tell your engineer now."),
    ),
    reasons,
    day.element,
    note.element,
    photo.element,
    saveBar(app, {
      words: "Take it down",
      check: () => [
        ...(
          picked(place, "reason")
            ? []
            : [{ sentence: "Say why the face comes down.", input: reasons }]
        ),
        ...dayWrong(day.input, today, "taken down"),
      ],
      record: async () =>
        recordAction(app, {
          kind: "remove",
          payload: {
            sign: subject.ref,
            removed_on: day.input.value,
            reason: picked(place, "reason"),
            note: note.input.value.trim(),
          },
          sign: subject.signKey,
          needs: subject.needs,
          replaces: earlier.replaces,
          baseVersion: subject.position?.version ?? "",
          identified: identifiedOf(params),
          photos: await photo.photos(),
        }),
      after: () => app.closeTo(makeHash("#/sign/:sign", { sign: subject.key })),
      said: "Removal saved on this phone",
    }),
  );
  await photo.open(earlier.operation?.client_uuid ?? null);
  keepDraft(place, window.location.hash, app.now().getTime());
  return { placeName: subject.support?.road || undefined };
}
