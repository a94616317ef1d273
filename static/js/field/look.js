/**
 * Recording what was seen at a sign without an instrument: damage, a rating by night, a note.
 *
 * @module
 */
import { identifiedOf } from "./identified.js";
import { recordAction } from "./operations.js";
import { chips } from "./pieces.js";

/**
 * What the screens of a look have in hand.
 *
 * @typedef {object} Look
 * @property {import("./subject.js").Subject} subject
 * @property {Record<string, string>} params
 * @property {{ payload: Record<string, any> | null, replaces: string | null }} earlier
 * @property {import("./photo_field.js").PhotoField} photo
 */

/**
 * Record a look at a sign.
 *
 * @param {import("./page.js").App} app
 * @param {Look} look
 * @param {{ how: string, note: string, observations?: Record<string, any>[], visual_rating?: Record<string, any> }} seen
 */
export async function recordLook(app, { subject, params, earlier, photo }, seen) {
  return recordAction(app, {
    kind: "inspection",
    payload: {
      sign: subject.ref,
      surface_state: "",
      instrument_id: null,
      reading_sets: [],
      observations: [],
      visual_rating: null,
      corrects: null,
      is_confirmed: false,
      shown: null,
      ...seen,
    },
    sign: subject.signKey,
    needs: subject.needs,
    replaces: earlier.replaces,
    identified: identifiedOf(params),
    photos: await photo.photos(),
  });
}

/**
 * Return the choice of day or night, as the screen's colours suggest until the person says.
 *
 * @param {import("./page.js").App} app
 * @param {Look["earlier"]} earlier
 */
export function howChips(app, earlier) {
  return chips({
    name: "how",
    legend: "Looked at",
    choices: [
      ["visual_day", "by day"],
      ["visual_night", "by night"],
    ],
    value: earlier.payload?.how ?? (app.theme() === "night" ? "visual_night" : "visual_day"),
  });
}
