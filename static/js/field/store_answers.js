/**
 * What an answer of the server does to what is kept here, and what is still open. Part of
 * store.js.
 *
 * @module
 */
import { UNREAD } from "./constants.js";

/** @typedef {import("./types.js").StoredOperation} StoredOperation */
/** @typedef {import("./types.js").StoredPhoto} StoredPhoto */
/** @typedef {import("./types.js").OperationState} OperationState */
/** @typedef {import("./types.js").ServerAnswer} ServerAnswer */
/** @typedef {import("./store_base.js").Writing} Writing */

const LAST_ACKNOWLEDGED = "last_acknowledged";
/** @type {Record<string, OperationState>} */
const STATE_OF_ANSWER = {
  applied: "acknowledged",
  already_applied: "acknowledged",
  held: "held",
  refused: "refused",
  discarded: "discarded",
};
/** What the server could not read at all, and what has another's id. */
const NOT_STORED_THERE = [UNREAD, "other_content"];
/** Damaged on the way: it goes again, but not for ever. */
const DAMAGED = "broken";
const DAMAGED_MOST_TRIES = 3;
/** @type {readonly OperationState[]} */
export const ON_ITS_WAY = ["waiting", "sent"];

/**
 * Return what an operation of the kind discard is about.
 *
 * @param {StoredOperation} operation
 * @returns {string | null}
 */
export function discardedBy(operation) {
  return operation.kind === "discard" ? JSON.parse(operation.content).payload.operation : null;
}

/** @param {StoredOperation} operation */
export function isOpen(operation) {
  return operation.replaced_by === null;
}

/**
 * Return whether the server holds or refused it under its id, so that there may be news of it.
 *
 * @param {StoredOperation} operation
 */
export function isAsked(operation) {
  const { state, answer, tries } = operation;
  const isStoredThere =
    !NOT_STORED_THERE.includes(answer?.code ?? "") &&
    (answer?.code !== DAMAGED || tries < DAMAGED_MOST_TRIES);
  return isOpen(operation) && ["held", "refused"].includes(state) && isStoredThere;
}

/**
 * Return the photos in some states that are here and whose operation still counts: not taken
 * back, not discarded, not replaced.
 *
 * @param {import("idb").IDBPTransaction<any, string[], "readonly">} reading
 * @param {StoredPhoto["state"][]} states
 * @returns {Promise<{ photo: StoredPhoto, operation: StoredOperation }[]>}
 */
export async function photosOfLive(reading, states) {
  const byState = reading.objectStore("photos").index("by_state");
  /** @type {StoredPhoto[]} */
  const photos = (await Promise.all(states.map((state) => byState.getAll(state)))).flat();
  const pairs = await Promise.all(
    photos.map(async (photo) => ({
      photo,
      /** @type {StoredOperation} */
      operation: await reading.objectStore("operations").get(photo.operation),
    })),
  );
  return pairs.filter(
    ({ photo, operation }) =>
      photo.is_here &&
      !["withdrawn", "discarded"].includes(operation.state) &&
      !(["held", "refused"].includes(operation.state) && !isOpen(operation)),
  );
}

/**
 * Put everything that was ever answered back among what waits.
 *
 * @param {Writing} writing
 * @param {Set<string>} answered under the new epoch already
 */
export async function offerAgain(writing, answered) {
  await writing.objectStore("settings").put(null, LAST_ACKNOWLEDGED);
  const again = new Set(["acknowledged", "held", "refused", "discarded"]);
  let cursor = await writing.objectStore("operations").openCursor();
  while (cursor) {
    if (again.has(cursor.value.state) && !answered.has(cursor.value.client_uuid)) {
      await cursor.update({ ...cursor.value, state: "waiting" });
    }
    cursor = await cursor.continue();
  }
  let photo = await writing.objectStore("photos").openCursor();
  while (photo) {
    if (photo.value.is_here) {
      await photo.update({ ...photo.value, state: "waiting", sent_bytes: 0 });
    }
    photo = await photo.continue();
  }
}

/**
 * Store one answer; return whether it was about something kept here.
 *
 * @param {Writing} writing
 * @param {ServerAnswer} given
 * @param {number} server_ms
 */
export async function settle(writing, given, server_ms) {
  const operations = writing.objectStore("operations");
  /** @type {StoredOperation | undefined} */
  const operation = await operations.get(given.client_uuid);
  const state = STATE_OF_ANSWER[given.answer];
  if (!operation || !state || operation.state === "withdrawn") {
    return false;
  }
  const { code = "", sentence = "", result = {} } = given;
  const first_ms = operation.acknowledged_at_ms;
  await operations.put({
    ...operation,
    state,
    answer: { code, sentence, result },
    acknowledged_at_ms: state === "held" ? null : (first_ms ?? server_ms),
  });
  if (state === "acknowledged") {
    await noteLastAcknowledged(writing, operation);
    const discarded = discardedBy(operation);
    const other = discarded && (await operations.get(discarded));
    if (other && !ON_ITS_WAY.includes(other.state)) {
      await operations.put({ ...other, state: "discarded" });
    }
  }
  return true;
}

/**
 * @param {Writing} writing
 * @param {StoredOperation} operation
 */
async function noteLastAcknowledged(writing, { sequence, client_uuid, sha256 }) {
  const settings = writing.objectStore("settings");
  const last = await settings.get(LAST_ACKNOWLEDGED);
  if (!last || last.sequence < sequence) {
    await settings.put({ sequence, client_uuid, sha256 }, LAST_ACKNOWLEDGED);
  }
}
