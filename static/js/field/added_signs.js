/**
 * Signs that were added on this phone and are not among those it carries yet.
 *
 * @module
 */
import { bearingDeg, distanceM } from "./distances.js";
import { h } from "./dom.js";
import { contentOf, recordedWords, stateWords } from "./recorded_words.js";
import { makeHash } from "./router.js";
import { wayPiece } from "./sign_lines.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./fixes.js").Fix} Fix */
/** @typedef {import("./types.js").StoredOperation} StoredOperation */

const COUNTED = /** @type {const} */ (["waiting", "sent", "held", "acknowledged"]);
const MOST_LOOKED_AT = 1000;

/** @typedef {{ line: HTMLElement, distance_m: number }} Added */

/**
 * Return a line for each sign added on this phone, the nearest first.
 *
 * @param {App} app
 * @param {Fix} fix
 * @param {Record<string, string | number | null | undefined>} query how it was identified
 * @returns {Promise<Added[]>}
 */
export async function addedSigns(app, fix, query) {
  const recorded = await app.store.operations({ states: [...COUNTED], limit: MOST_LOOKED_AT });
  const added = recorded.filter((each) => each.kind === "add_sign" && !each.replaced_by);
  const lines = await Promise.all(added.map((each) => addedLine(app, each, fix, query)));
  return lines
    .filter((each) => each !== null)
    .sort((one, other) => one.distance_m - other.distance_m);
}

/**
 * @param {App} app
 * @param {StoredOperation} operation
 * @param {Fix} fix
 * @param {Record<string, string | number | null | undefined>} query
 * @returns {Promise<Added | null>} null once it is carried
 */
async function addedLine(app, operation, fix, query) {
  const signId = operation.answer?.result?.sign_id;
  if (signId && (await app.store.sign(signId))) {
    return null;
  }
  const { payload } = contentOf(operation);
  const support = payload.support.new ?? (await app.store.support(payload.support.id));
  const { lines } = recordedWords(contentOf(operation), app.basics);
  const distance_m = support ? distanceM(fix, support) : null;
  const line = h(
    "li",
    null,
    h(
      "a",
      {
        class: "record-line",
        href: makeHash("#/sign/:sign", { sign: operation.client_uuid, ...query }),
      },
      lines.map((each, at) => (at === 0 ? h("strong", null, each) : h("span", null, each))),
      wayPiece(distance_m, support ? bearingDeg(fix, support) : null),
      h("span", { class: "small soft" }, stateWords(operation)),
    ),
  );
  return { line, distance_m: distance_m ?? Infinity };
}
