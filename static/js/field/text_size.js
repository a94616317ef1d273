/**
 * Larger letters, kept where they are known before anything is drawn.
 *
 * @module
 */

const KEY = "signfleet-field-text";

/** @typedef {"usual" | "large" | "largest"} TextSize */

/** Each size with its words; what it means is in field.css. */
export const TEXT_SIZES = /** @type {[TextSize, string][]} */ ([
  ["usual", "usual"],
  ["large", "larger"],
  ["largest", "largest"],
]);

/** @returns {TextSize} */
export function keptTextSize() {
  const kept = window.localStorage.getItem(KEY);
  return TEXT_SIZES.find(([size]) => size === kept)?.[0] ?? "usual";
}

/** @param {TextSize} size */
export function wearTextSize(size) {
  window.localStorage.setItem(KEY, size);
  document.documentElement.dataset.text = size;
}
