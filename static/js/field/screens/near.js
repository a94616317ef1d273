/**
 * The signs nearest to the phone: every one its position could mean, none picked for the person.
 *
 * @module
 */
import { addedSigns } from "../added_signs.js";
import { clear, h, put } from "../dom.js";
import { identifiedQuery } from "../identified.js";
import { isWithinAccuracy, lookAround } from "../nearby.js";
import { askPosition, watchPosition } from "../phone_position.js";
import { actBar, notice, primaryButton, primaryLink, section } from "../pieces.js";
import { faceName, foundHash, foundLine, nothingCarried, waysToFind } from "../sign_lines.js";
import { way } from "../way_words.js";

/** @typedef {import("../fixes.js").Fix} Fix */
/** @typedef {import("../types.js").Found} Found */
/** @typedef {import("../nearby.js").Nearby} Nearby */

/** A list is not put in another order for so long after a finger was on it. */
const STILL_AFTER_TOUCH_MS = 2_500;
const EMPTY_SHOWN = 10;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, _params, app) {
  const status = h(
    "p",
    { class: "soft", role: "status", "data-fix": "" },
    "Finding where you are…",
  );
  const list = h("div", { class: "stack-small", "data-near": "" });
  const act = actBar();
  const leaving = app.leaving();
  let touched_ms = -Infinity;
  let isBusy = false;
  /** @type {Fix | null} */
  let newest = null;
  list.addEventListener("pointerdown", () => {
    touched_ms = performance.now();
  });

  /** @param {Fix} fix */
  const showOne = async (fix) => {
    const around = await lookAround(app.store, fix);
    const added = await addedSigns(app, fix, queryOf(fix, around));
    // A sign that was added here can be the one before the person as well.
    if (added.some(({ distance_m }) => distance_m <= fix.accuracy_m)) {
      around.only = null;
    }
    const pieces = await listPieces(app, around, fix, added);
    const isStill = performance.now() - touched_ms > STILL_AFTER_TOUCH_MS;
    if (leaving.aborted || !isStill) {
      return;
    }
    status.textContent = `Your position is good to about ${way(fix.accuracy_m)}. North is up.`;
    clear(list, pieces);
    clear(act, primaryOf(around, fix, again));
  };

  /** @param {Fix} fix shown when those before it are, if none newer has come by then */
  const showFix = async (fix) => {
    newest = fix;
    if (isBusy) {
      return;
    }
    isBusy = true;
    while (newest !== null && !leaving.aborted) {
      const next = newest;
      newest = null;
      await showOne(next);
    }
    isBusy = false;
  };

  const trouble = (/** @type {string} */ sentence) => {
    if (!list.hasChildNodes()) {
      status.textContent = "";
      clear(list, notice("warn", h("p", null, sentence)));
      clear(act, primaryLink("Scan a label", "#/scan"));
    }
  };
  const again = () => {
    touched_ms = -Infinity;
    status.textContent = "Finding where you are…";
    askPosition().then(showFix, (error) => {
      status.textContent = "";
      app.say(error.message, { kind: "warn" });
    });
  };

  put(place, h("h1", null, "Signs near you"), waysToFind("near"), await nothingCarried(app));
  put(place, status, list, act);
  watchPosition(leaving, showFix, trouble);
}

/**
 * Return how a sign of this list was identified.
 *
 * @param {Fix} fix
 * @param {Nearby} around
 */
function queryOf(fix, around) {
  return identifiedQuery({
    by: "nearest",
    latitude_deg: Number(fix.latitude_deg.toFixed(7)),
    longitude_deg: Number(fix.longitude_deg.toFixed(7)),
    accuracy_m: Number(fix.accuracy_m.toFixed(1)),
    candidate_count: around.candidates.length,
  });
}

/**
 * @param {import("../page.js").App} app
 * @param {Nearby} around
 * @param {Fix} fix
 * @param {import("../added_signs.js").Added[]} added
 * @returns {Promise<HTMLElement[]>}
 */
async function listPieces(app, around, fix, added) {
  const query = queryOf(fix, around);
  /** @param {Found[]} found */
  const lines = (found) =>
    Promise.all(
      found.map((each) =>
        foundLine(app, each, {
          hash: foundHash(each, query),
          isWithin: isWithinAccuracy(each, fix),
          isOnly: each === around.only,
        }),
      ),
    );
  /**
   * @param {string} heading
   * @param {Found[]} found
   * @param {string} [advice]
   */
  const group = async (heading, found, advice = "") =>
    found.length === 0
      ? []
      : [
          h(
            "section",
            null,
            h("h2", null, heading),
            advice ? h("p", { class: "small" }, advice) : null,
            h("ol", { class: "lines" }, await lines(found)),
          ),
        ];
  const several = around.candidates.length > 1;
  const addedHere = added.map(({ line }) => line);
  const shown = [
    ...(await group(
      several ? `${around.candidates.length} signs it could be` : "The one sign it can be",
      around.candidates,
      several
        ? "Compare the face, the way it faces and its place on the support. Then pick yours."
        : "Check that it is the one you stand at.",
    )),
    ...(addedHere.length
      ? [section("Added on this phone", h("ol", { class: "lines" }, addedHere))]
      : []),
    ...(await group(around.candidates.length ? "Further away" : "Nearest signs", around.others)),
    ...(await group("Places without a sign", around.empty.slice(0, EMPTY_SHOWN))),
  ];
  return shown.length
    ? shown
    : [notice("", h("p", null, "No sign that this phone carries is within 2.5 miles."))];
}

/**
 * Return the one primary action: to open the only sign it can be, or to look again.
 *
 * @param {Nearby} around
 * @param {Fix} fix
 * @param {() => void} again
 */
function primaryOf(around, fix, again) {
  return around.only
    ? primaryLink(
        `Open ${faceName(around.only.sign ?? around.only.position)}`,
        foundHash(around.only, queryOf(fix, around)),
      )
    : primaryButton("Look again", again);
}
