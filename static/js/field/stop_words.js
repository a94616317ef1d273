/**
 * What a planned tour says of a stop, in words: when, how long, and which face to bring.
 *
 * @module
 */

/**
 * @typedef {{ id: number, label: string, code: string, variant?: string, is_in_stock: boolean, is_up_here: boolean }} MeantFace
 */

/**
 * Return when work begins at a stop and how long it takes; "" where it was not planned.
 *
 * @param {Record<string, any>} stop
 * @returns {string}
 */
export function timeWords({ arrive_at, service_minutes }) {
  const minutes = typeof service_minutes === "number" ? `${Math.round(service_minutes)} min` : "";
  return [arrive_at ? `About ${arrive_at}` : "", minutes].filter(Boolean).join(", ");
}

/**
 * Return which face is meant for a stop, and whether it is there to be brought; "" for none.
 *
 * @param {Record<string, any>} stop
 * @param {Record<string, any> | null} [sign] that stands there by what was recorded here
 * @returns {string}
 */
export function faceWords(stop, sign = null) {
  const face = /** @type {MeantFace | null | undefined} */ (stop.face);
  if (!face) {
    return "";
  }
  const name = face.label || `without a label, number ${face.id}`;
  const isUp = face.label !== "" && sign?.label_id === face.label && sign.state === "installed";
  if (face.is_up_here || isUp) {
    return `Face ${name} is up here`;
  }
  return face.is_in_stock ? `Bring face ${name}` : `Face ${name} is not in stock any more`;
}

/**
 * Return the label of the face to put up at a stop; "" where none is meant or it is gone.
 *
 * @param {Record<string, any> | null | undefined} stop
 * @returns {string}
 */
export function labelToPutUp(stop) {
  const face = /** @type {MeantFace | null | undefined} */ (stop?.face);
  return face?.is_in_stock ? face.label : "";
}

/**
 * Return when a planned day leaves, when it is over, and how far it drives; "" for none.
 *
 * @param {Record<string, any>} work a package
 * @returns {string}
 */
export function tourWords({ leave_at, back_at, drive_mi }) {
  const said = [
    leave_at ? `Leave at ${leave_at}` : "",
    back_at ? `back about ${back_at}` : "",
    typeof drive_mi === "number" ? `${drive_mi.toFixed(drive_mi < 10 ? 1 : 0)} mi to drive` : "",
  ].filter(Boolean);
  return said.join(", ");
}
