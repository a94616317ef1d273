/**
 * Work the crew sees on the road: what is needed here, to be done later or done already.
 *
 * @module
 */
import { addedWork, packagesInHand } from "../added_work.js";
import { deviceDay } from "../clock.js";
import { dayWords } from "../day_words.js";
import { keepDraft } from "../drafts.js";
import { h, put } from "../dom.js";
import { earlierOf, picked, saveBar, whyAgain, wordsField } from "../form.js";
import { recordAction } from "../operations.js";
import { actBar, chips, linkButton, notice, primaryLink } from "../pieces.js";
import { keyOfRef, start, wordOf } from "../recorded_words.js";
import { makeHash } from "../router.js";
import { notCarried, signHead } from "../sign_head.js";
import { loadPlace } from "../subject.js";

/** @typedef {import("../page.js").App} App */

const LONGEST_NOTE = 255;
const TASKS_AT_A_SIGN = ["repair", "replace", "remove", "read", "look", "check"];
const TASKS_AT_AN_EMPTY_PLACE = ["install", "repair", "check"];
const LATER = "later";
const DONE = "done";

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const here = await loadPlace(app, params.position);
  if (!here) {
    notCarried(place, "Work needed here");
    return undefined;
  }
  const earlier = await earlierOf(app, params);
  const packages = packagesInHand(app, deviceDay(app.now()));
  const meant = earlier.payload?.package_id;
  put(place, h("h1", null, "Work needed here"), await signHead(app, here));
  if (packages.length === 0) {
    put(place, nowhere(here));
    return { placeName: here.support?.road || undefined };
  }
  const task = chips({
    name: "task",
    legend: "What is needed",
    choices: tasksHere(app, here.sign?.state === "installed"),
    value: earlier.payload?.task ?? null,
  });
  const when = chips({
    name: "when",
    legend: "Is it done?",
    choices: [
      [LATER, "Still to be done"],
      [DONE, "Done just now"],
    ],
    value: earlier.payload?.outcome === DONE ? DONE : LATER,
  });
  const into = chips({
    name: "package",
    legend: "Which package it goes into",
    choices: packages.map((each) => [
      String(each.id),
      `${each.title}, ${dayWords(each.work_on)}`,
    ]),
    value: String((packages.find((each) => each.id === meant) ?? packages[0]).id),
    isColumn: true,
  });
  into.hidden = packages.length === 1;
  const note = wordsField("note", "Note for the next crew", earlier.payload?.note ?? "", {
    most: LONGEST_NOTE,
    hint: "What you saw, and what it takes.",
  });
  // Asked of again when saved: another form may have added the same in the meantime.
  let twice = "";
  put(
    place,
    whyAgain(earlier),
    task,
    note.element,
    when,
    into,
    saveBar(app, {
      words: "Add this work",
      check: () =>
        picked(place, "task") ? [] : [{ sentence: "Say what is needed here.", input: task }],
      record: async () => {
        const packageId = Number(picked(place, "package"));
        const said = await sameWork(app, packageId, here.placeRef, picked(place, "task"), earlier);
        if (said && said !== twice) {
          twice = said;
          throw new Error(said);
        }
        return recordAction(app, {
          kind: "add_work",
          payload: {
            package_id: packageId,
            position: here.placeRef,
            task: picked(place, "task"),
            note: note.input.value.trim(),
            outcome: picked(place, "when") === DONE ? DONE : "",
            reason: "",
          },
          sign: here.signKey,
          needs: here.needs,
          replaces: earlier.replaces,
        });
      },
      after: () =>
        app.closeTo(here.sign ? makeHash("#/sign/:sign", { sign: here.key }) : "#/today"),
      said: "Work saved on this phone",
    }),
  );
  keepDraft(place, window.location.hash, app.now().getTime());
  return { placeName: here.support?.road || undefined };
}

/**
 * Return what can be needed at a place, what crews meet most first.
 *
 * @param {App} app
 * @param {boolean} isUp whether a face stands there
 * @returns {[string, string][]}
 */
function tasksHere(app, isUp) {
  const wanted = isUp ? TASKS_AT_A_SIGN : TASKS_AT_AN_EMPTY_PLACE;
  const tasks = /** @type {[string, string][]} */ (app.basics?.words?.tasks ?? []);
  const known = new Map(tasks);
  return wanted.filter((key) => known.has(key)).map((key) => [key, start(known.get(key) ?? "")]);
}

/**
 * Return that the package has this work already; "" where it has not.
 *
 * @param {App} app
 * @param {number} packageId
 * @param {import("../types.js").Ref} ref
 * @param {string} task
 * @param {{ operation: import("../types.js").StoredOperation | null }} earlier
 * @returns {Promise<string>}
 */
async function sameWork(app, packageId, ref, task, earlier) {
  const words = wordOf(app.basics, "tasks", task);
  const stops = await app.store.stops(packageId);
  const stop = stops.find((each) => "id" in ref && each.position_id === ref.id && each.task === task);
  if (stop) {
    return `Stop ${stop.number} of this package is to ${words} here already. Say there what came of it; the server refuses it a second time.`;
  }
  const added = (await addedWork(app, [packageId])).find(
    (each) =>
      each.task === task &&
      keyOfRef(each.position) === keyOfRef(ref) &&
      each.uuid !== earlier.operation?.client_uuid,
  );
  return added
    ? `You added this already: ${words}, ${added.state}. Open it under Today to put it right; the server refuses it a second time.`
    : "";
}

/**
 * Return what to do where no package is in hand that work could go into.
 *
 * @param {import("../subject.js").Subject} here
 * @returns {(HTMLElement | null)[]}
 */
function nowhere({ sign, key }) {
  return [
    notice(
      "",
      h("p", null, "No package is with you today, so there is none this work could go into."),
      h(
        "p",
        null,
        sign
          ? "Report damage, or write a note: your engineer sees both."
          : "Tell your engineer: there is no sign here yet to write it on.",
      ),
    ),
    sign
      ? h(
          "div",
          { class: "button-pair" },
          linkButton("Damage or missing", makeHash("#/damage/:sign", { sign: key })),
          linkButton("Note", makeHash("#/note/:sign", { sign: key })),
        )
      : null,
    actBar(primaryLink("See today", "#/today")),
  ];
}
