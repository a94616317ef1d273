/**
 * Readings that are typed and not saved yet: they outlive a closed page and a dead battery.
 *
 * @module
 */

const PREFIX = "field-readings:";
const KEPT_MS = 86_400_000;

/** @typedef {import("./reading_session.js").Kept} Kept */
/** @typedef {{ at_ms: number, kept: Kept, surface: string }} ReadingDraft */

/**
 * @param {string} key of the sign
 * @param {number} now_ms
 * @returns {ReadingDraft | null}
 */
export function readingDraft(key, now_ms) {
  /** @type {ReadingDraft | null} */
  const draft = JSON.parse(window.localStorage.getItem(PREFIX + key) ?? "null");
  return draft && Math.abs(now_ms - draft.at_ms) <= KEPT_MS ? draft : null;
}

/**
 * @param {string} key of the sign
 * @param {ReadingDraft} draft
 */
export function keepReadingDraft(key, draft) {
  try {
    window.localStorage.setItem(PREFIX + key, JSON.stringify(draft));
  } catch (error) {
    // No room for the copy: the values themselves are still on the screen, and saving says so.
    if (!(error instanceof DOMException)) {
      throw error;
    }
  }
}

/** @param {string} key of the sign whose readings are saved, or not wanted */
export function forgetReadingDraft(key) {
  window.localStorage.removeItem(PREFIX + key);
}
