/**
 * The evidence a look by night needs, checked before it is saved, as the server will
 * (engineering/inspection/visual.py). The fields come from the server with the day's basics.
 *
 * @module
 */

const COLORS_KEY = "colors";
const ONE_DAY_MS = 86_400_000;

/**
 * @typedef {object} EvidenceField
 * @property {string} name
 * @property {string} label
 * @property {"text" | "number" | "date" | "choice" | "confirm"} kind
 * @property {boolean} per_color
 * @property {string[]} [choices]
 * @property {string} [unit]
 * @property {string | null} [minimum]
 * @property {string | null} [exact]
 * @property {boolean} [must_be_same_night]
 * @property {boolean} [must_reach_level]
 */

/**
 * @typedef {Record<string, string | boolean>} Typed
 */

/**
 * Return the evidence as it goes to the server.
 *
 * @param {EvidenceField[]} fields
 * @param {Typed} forAll what was stated once, by field name
 * @param {Array<{ color: string, typed: Typed }>} forEach what was stated for each colour
 * @returns {Record<string, unknown>}
 */
export function evidenceOf(fields, forAll, forEach) {
  /** @type {Record<string, unknown>} */
  const evidence = {};
  for (const field of fields.filter((each) => !each.per_color)) {
    evidence[field.name] = stated(field, forAll[field.name]);
  }
  const ofColors = fields.filter((each) => each.per_color);
  if (ofColors.length > 0) {
    evidence[COLORS_KEY] = forEach
      .map(({ color, typed }) => ({
        color,
        ...Object.fromEntries(
          ofColors.map((field) => [field.name, stated(field, typed[field.name])]),
        ),
      }))
      .filter(({ color: _color, ...rest }) => Object.values(rest).some((value) => value !== ""));
  }
  return evidence;
}

/**
 * Return what is missing or outside the procedure, a sentence each with the field it is about.
 *
 * @param {EvidenceField[]} fields
 * @param {Record<string, unknown>} evidence
 * @param {string} today the day of the look, such as 2026-11-25
 * @param {Record<string, number>} levels of each colour where it is known, in thousandths
 * @returns {Array<{ name: string, color: string, sentence: string }>}
 */
export function lacks(fields, evidence, today, levels = {}) {
  const found = fields
    .filter((field) => !field.per_color)
    .map(
      (field) => (
        { name: field.name, color: "", sentence: lack(field, evidence[field.name], today) }
      ),
    );
  const ofColors = fields.filter((field) => field.per_color);
  const colors = /** @type {Array<Record<string, unknown>>} */ (evidence[COLORS_KEY] ?? []);
  if (ofColors.length > 0 && colors.length === 0) {
    found.push({
      name: ofColors[0].name,
      color: "",
      sentence: "This procedure compares colour by colour; fill in at least one colour.",
    });
  }
  for (const entry of colors) {
    const color = String(entry.color);
    for (const field of ofColors) {
      const sentence =
        lack(field, entry[field.name], today) || belowLevel(
          field,
          entry[field.name],
          color,
          levels,
        );
      found.push({ name: field.name, color, sentence });
    }
  }
  return found.filter((each) => each.sentence);
}

/**
 * @param {EvidenceField} field
 * @param {string | boolean | undefined} typed
 * @returns {string | boolean}
 */
function stated(field, typed) {
  return field.kind === "confirm" ? typed === true : String(typed ?? "").trim();
}

/**
 * @param {EvidenceField} field
 * @param {unknown} value
 * @param {string} today
 * @returns {string}
 */
function lack(field, value, today) {
  if (field.kind === "confirm") {
    return value === true
      ? ""
      : `The procedure asks that ${field.label}. Tick it, or do not rate the sign this way.`;
  }
  const text = String(value ?? "");
  if (!text) {
    return `${start(field.label)} is not filled in yet.`;
  }
  if (field.kind === "number") {
    return numberLack(field, text);
  }
  if (field.kind === "date") {
    return dateLack(field, text, today);
  }
  const isChoice = field.kind !== "choice" || (field.choices ?? []).includes(text);
  return isChoice ? "" : `${start(field.label)} is one of ${(field.choices ?? []).join(" or ")}.`;
}

/**
 * @param {EvidenceField} field
 * @param {string} text
 * @returns {string}
 */
function numberLack(field, text) {
  const number = /^\d+(?:\.\d*)?$|^\.\d+$/.test(text) ? Number(text) : NaN;
  const unit = field.unit ? ` ${field.unit}` : "";
  if (!Number.isFinite(number)) {
    return `${start(field.label)} is “${text}”, which is not a number; write it in figures.`;
  }
  if (isSet(field.exact) && number !== Number(field.exact)) {
    return `${start(field.label)} is ${text}${unit}; this procedure is for ${field.exact}${unit}. View the sign again from there, or use another procedure.`;
  }
  if (isSet(field.minimum) && number < Number(field.minimum)) {
    return `${start(field.label)} is ${text}${unit}; this procedure asks for ${field.minimum}${unit} or more. Use another procedure.`;
  }
  return number > 0 ? "" : `${start(field.label)} is ${text}${unit}; it has to be over 0.`;
}

/**
 * @param {EvidenceField} field
 * @param {string} text
 * @param {string} today
 * @returns {string}
 */
function dateLack(field, text, today) {
  const day = Date.parse(`${text}T00:00:00Z`);
  if (!/^\d{4}-\d{2}-\d{2}$/.test(text) || Number.isNaN(day)) {
    return `${start(field.label)} is “${text}”, which is not a day; write it like 2026-11-25.`;
  }
  const late = Math.round((Date.parse(`${today}T00:00:00Z`) - day) / ONE_DAY_MS);
  // After midnight it is still the night of the evening before.
  if (field.must_be_same_night && late !== 0 && late !== 1) {
    return `${start(field.label)} is ${text}, but the sign is rated on ${today}; it has to be the same night.`;
  }
  return late >= 0 ? "" : `${start(field.label)} is ${text}, which is still to come.`;
}

/**
 * @param {EvidenceField} field
 * @param {unknown} value
 * @param {string} color
 * @param {Record<string, number>} levels
 * @returns {string}
 */
function belowLevel(field, value, color, levels) {
  const level = levels[color];
  if (!field.must_reach_level || level === undefined || Number(value) * 1000 >= level) {
    return "";
  }
  return `The panel for ${color} is at ${String(value)} cd/lx/m², below the level of ${level / 1000}; a sign as bright as it could still be below. Use a panel at or just above the level.`;
}

/**
 * @param {string | null | undefined} bound
 * @returns {boolean}
 */
function isSet(bound) {
  return bound !== null && bound !== undefined && bound !== "";
}

/**
 * @param {string} label
 * @returns {string}
 */
function start(label) {
  return label.charAt(0).toUpperCase() + label.slice(1);
}
