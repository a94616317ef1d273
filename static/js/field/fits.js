/**
 * Whether a face is what its position asks for, as the server will see it
 * (services/installation.py): code, legend where it is a custom one, and size where one is known.
 *
 * @module
 */

const SIZE_TOLERANCE_IN = 0.01;
const DASHES = /[\u2010-\u2014\u2212_]/g; // the dashes people paste

/**
 * @typedef {object} Face
 * @property {string} [label_id]
 * @property {string} code
 * @property {string} [variant]
 * @property {string} [legend_text]
 * @property {number | null} [width_in]
 * @property {number | null} [height_in]
 */

/**
 * @typedef {object} AskedFor
 * @property {string} code
 * @property {string} variant
 * @property {string | null} legend_text null: any legend of that code
 * @property {string} [wording] what a face of the code reads there, where that is on record
 * @property {number | null} width_in null: no size is known
 * @property {number | null} height_in
 * @property {string} basis where the size comes from
 */

/**
 * Return why a face does not fit, one sentence a reason; none when it fits.
 *
 * @param {Face} face
 * @param {AskedFor | null} asks
 * @param {boolean} isRetired
 * @returns {string[]}
 */
export function misfits(face, asks, isRetired = false) {
  if (isRetired) {
    return ["This place is out of use; no face goes up here."];
  }
  if (!asks || !asks.code) {
    return [
      "It is not known which sign this place is for. Your engineer sets its code before a new face goes up.",
    ];
  }
  return [codeMisfit(face, asks), legendMisfit(face, asks), sizeMisfit(face, asks)].filter(Boolean);
}

/**
 * Return a code in the form in which codes are compared: no blanks, plain hyphens, one case.
 *
 * @param {string} code
 * @returns {string}
 */
export function normaliseCode(code) {
  return code.replace(/\s+/g, "").replace(DASHES, "-").toLowerCase();
}

/**
 * Return a size in words; "?" for a side that is not known.
 *
 * @param {number | null | undefined} width_in
 * @param {number | null | undefined} height_in
 * @returns {string}
 */
export function sizeWords(width_in, height_in) {
  if (!width_in && !height_in) {
    return "size not known";
  }
  return `${width_in ? inches(width_in) : "?"} × ${height_in ? inches(height_in) : "?"} in`;
}

/**
 * @param {Face} face
 * @param {AskedFor} asks
 * @returns {string}
 */
function codeMisfit(face, asks) {
  const wanted = `${asks.code}${asks.variant}`;
  const brought = face.code ? `${face.code}${face.variant ?? ""}` : "of an unknown code";
  return normaliseCode(brought) === normaliseCode(wanted)
    ? ""
    : `This face is ${brought}, but this place asks for ${wanted}.`;
}

/**
 * @param {Face} face
 * @param {AskedFor} asks
 * @returns {string}
 */
function legendMisfit(face, asks) {
  const reads = face.legend_text ?? "";
  const asked = asks.legend_text ?? asks.wording ?? "";
  const isAsSaid =
    asks.legend_text === null
      ? !reads || !asked || plainly(reads) === plainly(asked)
      : asked === reads;
  return isAsSaid ? "" : `This face reads “${reads}”, but this place asks for “${asked}”.`;
}

/**
 * @param {string} words
 * @returns {string}
 */
function plainly(words) {
  return words.trim().toLowerCase();
}

/**
 * @param {Face} face
 * @param {AskedFor} asks
 * @returns {string}
 */
function sizeMisfit(face, asks) {
  const isOff = [
    [face.width_in, asks.width_in],
    [face.height_in, asks.height_in],
  ].some(([brought, wanted]) => brought && wanted && Math.abs(brought - wanted) > SIZE_TOLERANCE_IN);
  return isOff
    ? `This face is ${sizeWords(face.width_in, face.height_in)}, but this place asks for ` +
        `${sizeWords(asks.width_in, asks.height_in)} (${asks.basis}).`
    : "";
}

/**
 * @param {number} value_in
 * @returns {string}
 */
function inches(value_in) {
  return String(Math.round(value_in * 100) / 100);
}
