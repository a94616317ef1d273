/**
 * Day or night colours, kept where they are known before anything is drawn.
 *
 * @module
 */

const KEY = "signfleet-field-theme";

/** @returns {"day" | "night"} */
export function keptTheme() {
  return window.localStorage.getItem(KEY) === "night" ? "night" : "day";
}

/** @param {"day" | "night"} theme */
export function wearTheme(theme) {
  window.localStorage.setItem(KEY, theme);
  document.documentElement.dataset.theme = theme;
}
