/**
 * Every screen of the field page, by its address.
 *
 * @module
 */

/**
 * What a screen may tell the page of itself once it is shown.
 *
 * @typedef {object} Shown
 * @property {string} [placeName] what the top line names, such as a road
 */

/**
 * @typedef {object} Screen
 * @property {(place: HTMLElement, params: Record<string, string>, app: import("./page.js").App) =>
 *   Promise<Shown | void>} show
 */

/**
 * @typedef {object} Route
 * @property {string} pattern
 * @property {() => Promise<Screen>} open
 * @property {string} [bar] the entry of the bottom bar it stands under
 * @property {string} [back] where Back leads when the page was opened right here; none for a
 *   screen of the bottom bar
 * @property {boolean} [isAction] something done at the roadside: the day's reminder comes first,
 *   and the bottom bar makes room
 */

/** @type {Route[]} */
export const ROUTES = [
  { pattern: "#/safety", open: () => import("./screens/safety.js"), back: "#/today", bar: "today" },
];

export const FIRST_HASH = "#/today";
