/**
 * What an action is about, at the head of its screen: the face, what it is and where it stands.
 *
 * @module
 */

import { h } from "./dom.js";
import { sizeWords } from "./fits.js";
import { facePicture, notice } from "./pieces.js";
import { faceName } from "./sign_lines.js";
import { facingWords } from "./way_words.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./subject.js").Subject} Subject */

/**
 * Return the head of a sign's screen.
 *
 * @param {App} app
 * @param {Pick<Subject, "sign" | "position" | "support">} subject
 * @param {{ isNamed?: boolean }} [how] named where the heading does not say it already
 * @returns {Promise<HTMLElement>}
 */
export async function signHead(app, { sign, position, support }, { isNamed = true } = {}) {
  const face = sign ?? position ?? {};
  const svg = face.drawing ? await app.store.drawing(face.drawing) : null;
  return h(
    "div",
    { class: "head" },
    facePicture(svg, "large"),
    h(
      "div",
      null,
      isNamed ? h("p", null, h("strong", null, faceName(face))) : null,
      face.legend_text ? h("p", null, `“${face.legend_text}”`) : null,
      h("p", { class: "soft" }, [roadWords(support), facingWords(position?.facing_deg)].join(", ")),
      h(
        "p",
        { class: "soft" },
        [labelWords(sign), sizeWords(face.width_in, face.height_in)].filter(Boolean).join(", "),
      ),
    ),
  );
}

/**
 * Return where a support stands.
 *
 * @param {Record<string, any> | null | undefined} support
 * @returns {string}
 */
export function roadWords(support) {
  return support?.road || "road not known";
}

/**
 * Fill a screen whose sign or place this phone does not carry.
 *
 * @param {HTMLElement} place
 * @param {string} heading
 */
export function notCarried(place, heading) {
  place.append(
    h("h1", null, heading),
    notice(
      "warn",
      h(
        "p",
        null,
        "This phone does not carry that sign. Take its area along while there is signal, or find another.",
      ),
      h("p", null, h("a", { href: "#/take-along", class: "inline" }, "Take signs along")),
    ),
  );
}

/**
 * @param {Record<string, any> | null} sign
 * @returns {string}
 */
function labelWords(sign) {
  if (!sign) {
    return "";
  }
  return sign.label_id ? `label ${sign.label_id}` : "no label known";
}
