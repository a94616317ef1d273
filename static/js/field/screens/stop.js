/**
 * What came of a stop: done, or not done and why.
 *
 * @module
 */
import { keepDraft } from "../drafts.js";
import { h, put } from "../dom.js";
import { earlierOf, picked, saveBar, whyAgain, wordsField } from "../form.js";
import { recordAction } from "../operations.js";
import { chips } from "../pieces.js";
import { notCarried, signHead } from "../sign_head.js";
import { faceWords, timeWords } from "../stop_words.js";
import { loadPlace } from "../subject.js";

const OTHER = "other";
const LONGEST_REASON = 255;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const stop = await app.store.stop(Number(params.stop));
  const here = stop && (await loadPlace(app, String(stop.position_id)));
  if (!stop || !here) {
    notCarried(place, "What came of the stop");
    return;
  }
  const earlier = await earlierOf(app, params);
  const planned = [timeWords(stop), faceWords(stop, here.sign)].filter(Boolean);
  const known = app.basics?.words?.not_done_reasons ?? [];
  const given = earlier.payload?.reason ?? "";
  const others = wordsField(
    "other_reason",
    "Why, in your words",
    known.includes(given) ? "" : given,
    { most: LONGEST_REASON },
  );
  const reasons = chips({
    name: "reason",
    legend: "Why it was not done",
    choices: [
      ...known.map((/** @type {string} */ each) => [each, each]),
      [OTHER, "another reason"],
    ],
    value: known.includes(given) ? given : given ? OTHER : null,
    onPick: () => draw(),
    isColumn: true,
  });
  const outcome = chips({
    name: "outcome",
    legend: `Stop ${stop.number}: ${stop.task_words}`,
    choices: [
      ["done", "done"],
      ["not_done", "not done"],
    ],
    value: params.outcome ?? earlier.payload?.outcome ?? null,
    onPick: () => draw(),
  });
  const draw = () => {
    reasons.hidden = picked(place, "outcome") !== "not_done";
    others.element.hidden = reasons.hidden || picked(place, "reason") !== OTHER;
  };
  const reason = () => {
    if (picked(place, "outcome") === "done") {
      return "";
    }
    return picked(place, "reason") === OTHER ? others.input.value.trim() : picked(place, "reason");
  };
  put(
    place,
    h("h1", null, "What came of the stop"),
    await signHead(app, here),
    planned.length ? h("p", { class: "soft" }, planned.join(". ")) : null,
    stop.note ? h("p", null, `Note for the crew: ${stop.note}`) : null,
    whyAgain(earlier),
    outcome,
    reasons,
    others.element,
    saveBar(app, {
      words: "Save the stop",
      check: () => {
        if (!picked(place, "outcome")) {
          return [{ sentence: "Say whether it is done.", input: outcome }];
        }
        const isMissing = picked(place, "outcome") === "not_done" && !reason();
        return isMissing
          ? [
            {
              sentence: "Say why it was not done.",
              input: picked(place, "reason") === OTHER ? others.input : reasons,
            },
          ]
          : [];
      },
      record: () =>
        recordAction(app, {
          kind: "stop",
          payload: { stop_id: stop.id, outcome: picked(place, "outcome"), reason: reason() },
          sign: `stop:${stop.id}`,
          replaces: earlier.replaces,
        }),
      after: () => app.closeTo("#/today"),
      said: "Stop saved on this phone",
    }),
  );
  draw();
  keepDraft(place, window.location.hash, app.now().getTime());
  return { placeName: here.support?.road || undefined };
}
