/**
 * Work that was added to a package on this phone and is not among the stops it carries yet.
 *
 * @module
 */
import { aboutWords } from "./about.js";
import { contentOf, recordedWords, stateWords } from "./recorded_words.js";

/** @typedef {import("./page.js").App} App */

const SHOWN = /** @type {const} */ (["waiting", "sent", "held", "acknowledged", "refused"]);
const MOST_LOOKED_AT = 1000;

/**
 * @typedef {object} AddedWork
 * @property {string} uuid of its operation
 * @property {number} package_id
 * @property {Record<string, any>} position as the payload names it
 * @property {string} task
 * @property {string} outcome "" while it is to be done
 * @property {string} about which sign or place, in words
 * @property {string} title
 * @property {string[]} lines
 * @property {string} state where it stands, in words
 */

/**
 * Return what was added to some packages here, in the order it was added.
 *
 * @param {App} app
 * @param {number[]} packageIds
 * @returns {Promise<AddedWork[]>}
 */
export async function addedWork(app, packageIds) {
  const recorded = await app.store.operations({ states: [...SHOWN], limit: MOST_LOOKED_AT });
  /** @type {AddedWork[]} */
  const added = [];
  for (const each of recorded) {
    const content = each.kind === "add_work" && !each.replaced_by ? contentOf(each) : null;
    const stopId = each.answer?.result?.stop_id;
    const isHere = content !== null && packageIds.includes(content.payload.package_id);
    if (isHere && !(stopId && (await app.store.stop(stopId)))) {
      added.push({
        uuid: each.client_uuid,
        package_id: content.payload.package_id,
        position: content.payload.position,
        task: content.payload.task,
        outcome: content.payload.outcome ?? "",
        about: await aboutWords(app, each),
        state: stateWords(each),
        ...recordedWords(content, app.basics),
      });
    }
  }
  return added.reverse();
}

/**
 * Return the packages a person has in hand: today's, and earlier ones with open stops.
 *
 * @param {App} app
 * @param {string} today
 * @returns {Record<string, any>[]} the newest day first
 */
export function packagesInHand(app, today) {
  const packages = /** @type {Record<string, any>[]} */ (app.basics?.packages ?? []);
  return packages.filter(
    (each) =>
      (each.crew_is_me || each.crew_is_any) &&
      (each.work_on === today || (each.work_on < today && isOpen(each))),
  );
}

/**
 * Return whether a package has stops of which nothing was said yet, as the server knew it.
 *
 * @param {Record<string, any>} work
 * @returns {boolean}
 */
function isOpen(work) {
  return work.done_count + (work.not_done_count ?? 0) < work.stop_count;
}
