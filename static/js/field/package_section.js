/**
 * A package on the screen of today: the day, what to bring, its stops, and what was added here.
 *
 * @module
 */
import { dayWords } from "./day_words.js";
import { h } from "./dom.js";
import { notice, section } from "./pieces.js";
import { start } from "./recorded_words.js";
import { makeHash } from "./router.js";
import { foundLine } from "./sign_lines.js";
import { faceWords, labelToPutUp, timeWords, tourWords } from "./stop_words.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./stops_now.js").StopNow} StopNow */
/** @typedef {import("./added_work.js").AddedWork} AddedWork */

/**
 * @param {App} app
 * @param {Record<string, any>} work
 * @param {StopNow[] | null} stops null while they are not on this phone
 * @param {AddedWork[]} added
 * @returns {Promise<HTMLElement>}
 */
export async function packageSection(app, work, stops, added) {
  const done = stops?.filter((each) => each.outcome !== null).length ?? work.done_count;
  const lines = await Promise.all((stops ?? []).map((stop) => stopLine(app, stop)));
  const tour = tourWords(work);
  return section(
    work.title,
    h(
      "p",
      { class: "soft" },
      `${dayWords(work.work_on)}: ${done} of ${stops?.length ?? work.stop_count} stops done`,
    ),
    tour ? h("p", null, tour) : null,
    bringPiece(work, stops ?? []),
    stops === null
      ? notice("warn", h("p", null, "These stops are not on this phone yet."))
      : h("ol", { class: "lines" }, lines),
    added.length
      ? h("div", null, h("h3", null, "Added here"), h("ul", { class: "lines" }, added.map(addedLine)))
      : null,
  );
}

/**
 * Return where a stop leads: to the sign, or to the place that waits for one.
 *
 * @param {StopNow} stop
 * @returns {string}
 */
export function stopHash(stop) {
  const query = { by: "package", stop: stop.id };
  return stop.found?.sign
    ? makeHash("#/sign/:sign", { sign: stop.found.sign.id, ...query })
    : makeHash("#/install/:position", {
        position: stop.position_id,
        face: labelToPutUp(stop),
        ...query,
      });
}

/**
 * Return what to have on the truck: the desk's words, and the faces they do not name.
 *
 * @param {Record<string, any>} work
 * @param {StopNow[]} stops
 * @returns {HTMLElement | null}
 */
function bringPiece(work, stops) {
  const words = work.bring ?? "";
  const labels = stops
    .filter((each) => each.outcome === null)
    .map(labelToPutUp)
    .filter((label) => label && !words.includes(label));
  if (!words && labels.length === 0) {
    return null;
  }
  return h(
    "div",
    { class: "bring" },
    h("h3", null, "Bring"),
    words ? h("p", null, words) : null,
    labels.length ? h("p", null, `Faces: ${labels.join(", ")}`) : null,
  );
}

/**
 * @param {App} app
 * @param {StopNow} stop
 * @returns {Promise<HTMLElement>}
 */
async function stopLine(app, stop) {
  if (!stop.found) {
    return h(
      "li",
      null,
      h(
        "p",
        { class: "notice warn" },
        `Stop ${stop.number}: ${stop.task_words}. Its place is not on this phone; take the stops along again.`,
      ),
    );
  }
  const isOpen = stop.outcome === null;
  const task = start(stop.task_words);
  const line = await foundLine(app, stop.found, {
    hash: stopHash(stop),
    lead: `${stop.number}.`,
    task: isOpen ? task : `${task}: ${stop.outcome_words}`,
    when: isOpen ? timeWords(stop) : "",
    note: [isOpen ? faceWords(stop) : "", stop.note, stop.is_added ? "Added by the crew" : ""]
      .filter(Boolean)
      .join(". "),
  });
  line.classList.toggle("is-done", !isOpen);
  return line;
}

/**
 * @param {AddedWork} added
 * @returns {HTMLElement}
 */
function addedLine({ uuid, about, lines, outcome, state }) {
  return h(
    "li",
    null,
    h(
      "a",
      { class: "record-line", href: makeHash("#/outbox/:uuid", { uuid }) },
      about ? h("span", null, about) : null,
      lines.map((each, at) => (at === 0 ? h("strong", null, each) : h("span", null, each))),
      h("span", { class: "small soft" }, `${outcome === "done" ? "Done" : "To be done"}; ${state}`),
    ),
  );
}
