/**
 * The short id on a face's back, read as the server reads it (engineering/production/labels.py):
 * a serial number in 32 figures and letters and one check character, ISO/IEC 7064 hybrid system.
 *
 * @module
 */

const ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const BODY_LENGTH = 5;
const GROUP_LENGTH = 3;
/** @type {Record<string, string>} */
const LOOKALIKES = { I: "1", L: "1", O: "0" };
const IGNORED = /[\s\u2013\u2014-]/g;

/**
 * Return the check value of positions in an alphabet, by the hybrid system MOD (M + 1), M.
 *
 * @param {number[]} values
 * @param {number} characters how many the alphabet has
 * @returns {number}
 */
export function hybridCheck(values, characters) {
  let carried = characters;
  for (const value of values) {
    const summed = (carried + value) % characters || characters;
    carried = (summed * 2) % (characters + 1);
  }
  return (characters + 1 - carried) % characters;
}

/**
 * Return a typed or scanned id as it stands on the label, or what is wrong with it.
 *
 * @param {string} typed
 * @returns {{ label: string, sentence: "" } | { label: "", sentence: string }}
 */
export function readLabel(typed) {
  const shown = typed.trim();
  const text = [...shown.toUpperCase().replace(IGNORED, "")]
    .map((each) => LOOKALIKES[each] ?? each)
    .join("");
  if (text.length <= BODY_LENGTH) {
    return wrong(
      `“${shown}” is too short for a label id; it has at least ${BODY_LENGTH + 1} figures and ` +
        "letters, such as 001-0JK.",
    );
  }
  const values = [...text].map((each) => ALPHABET.indexOf(each));
  const strange = values.indexOf(-1);
  if (strange !== -1) {
    return wrong(
      `“${shown}” is not a label id: “${[...text][strange]}” is never part of one. Compare it ` +
        "with the label and type it again.",
    );
  }
  if (hybridCheck(values.slice(0, -1), ALPHABET.length) !== values.at(-1)) {
    return wrong(
      `“${shown}” is not a label id: its last character does not fit the rest, so one ` +
        "character is wrong. Compare it with the label and type it again.",
    );
  }
  return {
    label: (text.match(new RegExp(`.{1,${GROUP_LENGTH}}`, "g")) ?? []).join("-"),
    sentence: "",
  };
}

/**
 * @param {string} sentence
 * @returns {{ label: "", sentence: string }}
 */
function wrong(sentence) {
  return { label: "", sentence };
}
