/**
 * A note about a sign, with a photo if wanted.
 *
 * @module
 */
import { keepDraft } from "../drafts.js";
import { h, put } from "../dom.js";
import { earlierOf, picked, saveBar, whyAgain, wordsField } from "../form.js";
import { howChips, recordLook } from "../look.js";
import { PhotoField } from "../photo_field.js";
import { makeHash } from "../router.js";
import { notCarried, signHead } from "../sign_head.js";
import { loadSubject } from "../subject.js";

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const subject = await loadSubject(app, params.sign);
  if (!subject) {
    notCarried(place, "Write a note");
    return;
  }
  const earlier = await earlierOf(app, params);
  const note = wordsField("note", "Note", earlier.payload?.note ?? "");
  note.input.rows = 4;
  const photo = new PhotoField(app, { id: "photo", label: "Take a photo", role: "seen" });
  put(
    place,
    h("h1", null, "Write a note"),
    await signHead(app, subject),
    whyAgain(earlier),
    note.element,
    photo.element,
    howChips(app, earlier),
    saveBar(app, {
      words: "Save the note",
      check: () =>
        note.input.value.trim() || photo.taken.length
          ? []
          : [
            {
              sentence: "There is no note and no photo yet: write one or take one.",
              input: note.input,
            },
          ],
      record: async () =>
        recordLook(app, { subject, params, earlier, photo }, {
          how: picked(place, "how"),
          note: note.input.value.trim(),
        }),
      after: () => app.closeTo(makeHash("#/sign/:sign", { sign: subject.key })),
      said: "Note saved on this phone",
    }),
  );
  await photo.open(earlier.operation?.client_uuid ?? null);
  keepDraft(place, window.location.hash, app.now().getTime());
  return { placeName: subject.support?.road || undefined };
}
