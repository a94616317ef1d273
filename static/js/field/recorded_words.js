/**
 * What was recorded on this phone, in words: for the list of what waits, and beside a sign.
 *
 * @module
 */

import { compassWords } from "./bearings.js";
import { dayWords } from "./day_words.js";
import { makeHash } from "./router.js";
import { way } from "./way_words.js";

/** @typedef {import("./types.js").StoredOperation} StoredOperation */
/** @typedef {Record<string, any>} Content what was recorded, read from its text */
/** @typedef {Record<string, any> | null | undefined} Basics */

/**
 * Return what was recorded, from the text that is sent.
 *
 * @param {StoredOperation} operation
 * @returns {Content}
 */
export function contentOf(operation) {
  return JSON.parse(operation.content);
}

/**
 * Return the heading and the lines of something recorded.
 *
 * @param {Content} content
 * @param {Basics} basics
 * @returns {{ title: string, lines: string[] }}
 */
export function recordedWords(content, basics) {
  const describe = DESCRIBED[content.kind];
  const said = describe
    ? describe(content.payload, basics)
    : { title: `Record of kind ${content.kind}`, lines: [] };
  return { ...said, lines: said.lines.filter(Boolean) };
}

/**
 * Return where something recorded stands, in words of its own.
 *
 * @param {StoredOperation} operation
 * @returns {string}
 */
export function stateWords(operation) {
  const code = operation.answer?.code;
  if (operation.replaced_by && ["refused", "held"].includes(operation.state)) {
    return "put right by a later record";
  }
  switch (operation.state) {
    case "waiting":
    case "sent":
      return "saved on this phone, to send";
    case "held":
      return code === "waits"
        ? "on the server, waits for another record"
        : "on the server, waits for your engineer";
    case "refused":
      return "refused by the server";
    case "acknowledged":
      return code === "put_right" ? "on the server, put right by your engineer" : "on the server";
    case "discarded":
      return "discarded";
    default:
      return "undone, never sent";
  }
}

/**
 * Return the screen on which something recorded is put right; "" when it has none.
 *
 * @param {Content} content
 * @returns {string}
 */
export function editHash(content) {
  return formHash(content, { replaces: content.client_uuid });
}

/**
 * Return the screen on which something taken back is recorded again, filled in as it was.
 *
 * @param {Content} content
 * @returns {string}
 */
export function againHash(content) {
  return formHash(content, { from: content.client_uuid, replaces: content.replaces });
}

/**
 * @param {Content} content
 * @param {Record<string, string | null>} query
 * @returns {string}
 */
function formHash({ kind, payload }, query) {
  /** @param {string} pattern @param {Record<string, any>} params */
  const at = (pattern, params) => makeHash(pattern, { ...params, ...query });
  switch (kind) {
    case "inspection":
      return at(`#/${inspectionScreen(payload)}/:sign`, { sign: keyOfRef(payload.sign) });
    case "check":
      return at("#/check/:instrument", { instrument: payload.instrument_id });
    case "install":
      return at("#/install/:position", { position: keyOfRef(payload.position) });
    case "remove":
      return at("#/remove/:sign", { sign: keyOfRef(payload.sign) });
    case "move_support":
      return at("#/move/:support", { support: keyOfRef(payload.support) });
    case "add_sign":
      return payload.support.new
        ? at("#/add-sign", {})
        : at("#/add-sign/:support", { support: keyOfRef(payload.support) });
    case "flag_record":
      return at("#/wrong-data/:sign", { sign: keyOfRef(payload.sign) });
    case "stop":
      return at("#/stop/:stop", { stop: payload.stop_id });
    case "add_work":
      return at("#/add-work/:position", { position: keyOfRef(payload.position) });
    default:
      return "";
  }
}

/**
 * Return the screen on which readings the server has are put right by new ones; "" for others.
 *
 * @param {Content} content
 * @returns {string}
 */
export function correctHash({ kind, payload, client_uuid }) {
  return kind === "inspection" && payload.reading_sets?.length
    ? makeHash("#/read/:sign", {
        sign: keyOfRef(payload.sign),
        corrects: client_uuid,
        from: client_uuid,
      })
    : "";
}

/**
 * Return a record's key as it stands in an address: the server's id, or the operation's uuid.
 *
 * @param {Record<string, any>} ref
 * @returns {string}
 */
export function keyOfRef(ref) {
  return String(ref.id ?? ref.operation);
}

/**
 * Return the words of a choice; its key, spelt out, where the list has none.
 *
 * @param {Basics} basics
 * @param {string} list name within `words`
 * @param {string | number} key
 * @returns {string}
 */
export function wordOf(basics, list, key) {
  const found = (basics?.words?.[list] ?? []).find(
    (/** @type {[any, string]} */ [each]) => String(each) === String(key),
  );
  return found ? found[1] : String(key).replaceAll("_", " ");
}

/**
 * @param {Record<string, any>} payload
 * @returns {string}
 */
function inspectionScreen(payload) {
  if (payload.reading_sets?.length) {
    return "read";
  }
  if (payload.visual_rating) {
    return "night";
  }
  return payload.observations?.length ? "damage" : "note";
}

/** @type {Record<string, (payload: Record<string, any>, basics: Basics) => { title: string, lines: string[] }>} */
const DESCRIBED = {
  inspection: inspectionWords,
  check: (payload, basics) => ({
    title: "Instrument check",
    lines: [
      `${instrumentName(payload.instrument_id, basics)}, ${payload.moment} the readings`,
      `Reference ${payload.reference_ra_cd_lx_m2}, shown ${payload.shown_ra_cd_lx_m2} cd/lx/m²`,
    ],
  }),
  install: (payload, basics) => ({
    title: "New face put up",
    lines: [
      payload.face.label ? `Label ${payload.face.label}` : `Face ${payload.face.id}`,
      `Put up on ${dayWords(payload.installed_on)}`,
      payload.removal_reason
        ? `Old face came down: ${wordOf(basics, "removal_reasons", payload.removal_reason)}`
        : "",
      payload.removed_note,
    ],
  }),
  remove: (payload, basics) => ({
    title: "Face taken down",
    lines: [
      wordOf(basics, "removal_reasons", payload.reason),
      `Taken down on ${dayWords(payload.removed_on)}`,
      payload.note,
    ],
  }),
  move_support: (payload) => ({
    title: "Support moved",
    lines: [
      pointWords(/** @type {Point} */ (payload)),
      goodWords(payload.accuracy_m),
      payload.reason,
    ],
  }),
  add_sign: (payload) => ({
    title: "Sign added",
    lines: [
      payload.sign_code ? `${payload.sign_code}${payload.variant ?? ""}` : "code not known",
      payload.legend_text ? `“${payload.legend_text}”` : "",
      payload.facing_deg === null || payload.facing_deg === undefined
        ? "facing not known"
        : `faces ${compassWords(payload.facing_deg)}`,
      payload.support.new
        ? `New support at ${pointWords(payload.support.new)}`
        : "On the support here",
      payload.note,
    ],
  }),
  flag_record: (payload, basics) => ({
    title: "Wrong data",
    lines: [wordOf(basics, "wrong_data_fields", payload.field), payload.said],
  }),
  stop: (payload) => ({
    title: payload.outcome === "done" ? "Stop done" : "Stop not done",
    lines: [payload.reason],
  }),
  add_work: (payload, basics) => ({
    title: payload.outcome === "done" ? "Work added, done" : "Work added, to be done",
    lines: [start(wordOf(basics, "tasks", payload.task)), payload.note, payload.reason],
  }),
  discard: (payload) => ({ title: "Discarded", lines: [payload.reason] }),
};

/**
 * @param {Record<string, any>} payload
 * @param {Basics} basics
 * @returns {{ title: string, lines: string[] }}
 */
function inspectionWords(payload, basics) {
  /** @type {string[]} */
  const titles = [];
  /** @type {string[]} */
  const lines = [];
  for (const set of payload.reading_sets ?? []) {
    lines.push(`${start(colourWords(set.color))}: ${set.values.join(", ")} cd/lx/m²`);
  }
  if (lines.length > 0) {
    titles.push("Readings");
    if (payload.surface_state) {
      lines.push(`Face: ${wordOf(basics, "surface_states", payload.surface_state)}`);
    }
  }
  if (payload.visual_rating) {
    titles.push("Look at night");
    lines.push(
      payload.visual_rating.is_adequate ? "adequate: keep it" : "not adequate: replace it",
    );
  }
  for (const seen of payload.observations ?? []) {
    titles.push("Damage report");
    lines.push(
      `${start(wordOf(basics, "observation_kinds", seen.kind))}: ${wordOf(basics, "severities", seen.severity)}`,
      seen.note,
    );
  }
  if (payload.note) {
    lines.push(payload.note);
  }
  return { title: [...new Set(titles)].join(", ") || "Note", lines };
}

/**
 * @param {number} id
 * @param {Basics} basics
 * @returns {string}
 */
function instrumentName(id, basics) {
  const found = (basics?.instruments ?? []).find((/** @type {any} */ each) => each.id === id);
  return found ? `Instrument ${found.serial}` : `Instrument ${id}`;
}

/**
 * @typedef {{ latitude_deg: number, longitude_deg: number }} Point
 */

/**
 * @param {number | null | undefined} accuracy_m
 * @returns {string}
 */
function goodWords(accuracy_m) {
  return typeof accuracy_m === "number" ? `good to ${way(accuracy_m)}` : "";
}

/**
 * Return a point in degrees, with a true minus sign.
 *
 * @param {Point} point
 * @returns {string}
 */
export function pointWords({ latitude_deg, longitude_deg }) {
  return [latitude_deg, longitude_deg].map((each) => each.toFixed(5).replace("-", "−")).join(", ");
}

/**
 * @param {string} color
 * @returns {string}
 */
export function colourWords(color) {
  return color.replaceAll("_", " ").replaceAll("-", " ");
}

/**
 * @param {string} text
 * @returns {string}
 */
export function start(text) {
  return text.charAt(0).toUpperCase() + text.slice(1);
}
