/**
 * Lists of signs: the face, what it is, where it stands and how it stands.
 *
 * @module
 */
import { h, sprite } from "./dom.js";
import { facePicture, standingMark } from "./pieces.js";
import { makeHash } from "./router.js";
import { facingWords, orderWords, wayTo } from "./way_words.js";

/** @typedef {import("./types.js").Found} Found */
/** @typedef {import("./page.js").App} App */

/** Bearings are shown to a step of this many degrees, so that the arrow does not tremble. */
const ARROW_STEP_DEG = 15;

/**
 * Return what a sign is called: its code and its name, or that the code is not known.
 *
 * @param {Record<string, any>} face
 * @returns {string}
 */
export function faceName(face) {
  return [face.code ? `${face.code}${face.variant ?? ""}` : "code not known", face.name]
    .filter(Boolean)
    .join(" ");
}

/**
 * Return how far and which way, as an arrow and in words; north is up.
 *
 * @param {number | null} distance_m
 * @param {number | null} bearing_deg
 * @returns {HTMLElement | null}
 */
export function wayPiece(distance_m, bearing_deg) {
  if (distance_m === null) {
    return null;
  }
  const words = wayTo(distance_m, bearing_deg);
  const piece = h("span", { class: "where" });
  if (bearing_deg !== null && words !== "right here") {
    const arrow = sprite("arrow", "arrow");
    const turn = Math.round(bearing_deg / ARROW_STEP_DEG) * ARROW_STEP_DEG;
    arrow.firstElementChild?.setAttribute("transform", `rotate(${turn} 8 8)`);
    piece.append(arrow);
  }
  piece.append(words);
  return piece;
}

/**
 * Return how a sign stands; nothing where the phone does not know.
 *
 * @param {Record<string, any> | null} sign
 * @returns {HTMLElement | null}
 */
export function signStanding(sign) {
  const standing = sign?.standing;
  return standing ? standingMark(standing.mark, standing.word) : null;
}

/**
 * Return one line of a list, with its picture from the store.
 *
 * @param {App} app
 * @param {Found} found
 * @param {object} how
 * @param {string} how.hash where it leads
 * @param {boolean} [how.isWithin] could be the sign before the person
 * @param {boolean} [how.isOnly] the only one that could be
 * @param {string} [how.lead] what stands before the name, such as a stop's number
 * @param {string} [how.task] what is to be done there
 * @param {string} [how.when] what is planned of it, such as when
 * @param {string} [how.note]
 * @returns {Promise<HTMLElement>}
 */
export async function foundLine(app, found, { hash, isWithin, isOnly, lead, task, when, note }) {
  const { support, position, sign } = found;
  const face = sign ?? position;
  const onSupport = await app.store.positionsOfSupport(support.id);
  const svg = face.drawing ? await app.store.drawing(face.drawing) : null;
  const where = [support.road || "road not known", facingWords(position.facing_deg)];
  const legend = face.legend_text ? `“${face.legend_text}”` : "";
  return h(
    "li",
    { class: isWithin ? "within" : null, "data-position": position.id },
    h(
      "a",
      { class: "sign-line", href: hash, "aria-current": isOnly ? "true" : null },
      facePicture(svg),
      h(
        "span",
        { class: "sign-line-words" },
        h(
          "span",
          null,
          lead ? h("strong", { class: "lead" }, `${lead} `) : null,
          h(
            "span",
            { class: "code" },
            face.code ? `${face.code}${face.variant ?? ""}` : "code not known",
          ),
          ` ${face.name ?? ""} ${sign ? legend : "asked for here"}`,
        ),
        task ? h("strong", null, task) : null,
        when ? h("span", { class: "small" }, when) : null,
        h(
          "span",
          { class: "soft small" },
          `${where.join(", ")}, ${orderWords(position.order_on_support, onSupport.length)}`,
        ),
        note ? h("span", { class: "small" }, note) : null,
        h(
          "span",
          { class: "foot" },
          wayPiece(found.distance_m, found.bearing_deg),
          signStanding(sign),
        ),
        isWithin && !isOnly ? h("span", { class: "small" }, "could be the one before you") : null,
      ),
    ),
  );
}

/**
 * Return where a found place leads: to its sign, or to putting a face up.
 *
 * @param {Found} found
 * @param {Record<string, string | number | null | undefined>} query how it was identified
 * @returns {string}
 */
export function foundHash(found, query) {
  return found.sign
    ? makeHash("#/sign/:sign", { sign: found.sign.id, ...query })
    : makeHash("#/install/:position", { position: found.position.id, ...query });
}

/**
 * Return the ways to find a sign, the present one marked.
 *
 * @param {"near" | "map" | "scan" | "type"} current
 * @returns {HTMLElement}
 */
export function waysToFind(current) {
  const ways = [
    ["near", "Near"],
    ["map", "Map"],
    ["scan", "Scan"],
    ["type", "Type"],
  ];
  return h(
    "nav",
    { "aria-label": "Ways to find a sign" },
    h(
      "ul",
      { class: "ways" },
      ways.map(([name, words]) =>
        h(
          "li",
          null,
          h("a", { href: `#/${name}`, "aria-current": name === current ? "page" : null }, words),
        ),
      ),
    ),
  );
}

/**
 * Return that the phone carries no signs yet, and how it comes to them; null where it does.
 *
 * @param {App} app
 * @returns {Promise<HTMLElement | null>}
 */
export async function nothingCarried(app) {
  if ((await app.store.areas()).length > 0) {
    return null;
  }
  return h(
    "div",
    { class: "notice warn" },
    h(
      "p",
      null,
      "This phone carries no signs yet. Take along today’s stops or an area while there is signal.",
    ),
    h("p", null, h("a", { class: "button", href: "#/take-along" }, "Take signs along")),
  );
}
