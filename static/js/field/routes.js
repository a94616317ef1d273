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
  { pattern: "#/today", open: () => import("./screens/today.js"), bar: "today" },
  { pattern: "#/safety", open: () => import("./screens/safety.js"), back: "#/today", bar: "today" },
  {
    pattern: "#/take-along",
    open: () => import("./screens/take_along.js"),
    back: "#/today",
    bar: "today",
  },
  { pattern: "#/near", open: () => import("./screens/near.js"), bar: "find" },
  { pattern: "#/map", open: () => import("./screens/map.js"), bar: "find" },
  { pattern: "#/scan", open: () => import("./screens/scan.js"), bar: "find" },
  { pattern: "#/type", open: () => import("./screens/type.js"), bar: "find" },
  { pattern: "#/sign/:sign", open: () => import("./screens/sign.js"), back: "#/near", bar: "find" },
  action("#/read/:sign", () => import("./screens/read.js"), "#/near"),
  action("#/damage/:sign", () => import("./screens/damage.js"), "#/near"),
  action("#/night/:sign", () => import("./screens/night.js"), "#/near"),
  action("#/note/:sign", () => import("./screens/note.js"), "#/near"),
  action("#/wrong-data/:sign", () => import("./screens/wrong_data.js"), "#/near"),
  action("#/remove/:sign", () => import("./screens/remove.js"), "#/near"),
  action("#/install", () => import("./screens/install_where.js"), "#/near"),
  action("#/install/:position", () => import("./screens/install.js"), "#/near"),
  action("#/move/:support", () => import("./screens/move.js"), "#/near"),
  action("#/add-sign", () => import("./screens/add_sign.js"), "#/near"),
  action("#/add-sign/:support", () => import("./screens/add_sign.js"), "#/near"),
  action("#/check", () => import("./screens/check.js"), "#/today"),
  action("#/check/:instrument", () => import("./screens/check.js"), "#/today"),
  action("#/add-work/:position", () => import("./screens/add_work.js"), "#/near"),
  action("#/stop/:stop", () => import("./screens/stop.js"), "#/today"),
  { pattern: "#/outbox", open: () => import("./screens/outbox.js"), bar: "outbox" },
  {
    pattern: "#/outbox/:uuid",
    open: () => import("./screens/outbox_entry.js"),
    back: "#/outbox",
    bar: "outbox",
  },
  { pattern: "#/settings", open: () => import("./screens/settings.js"), bar: "settings" },
];

export const FIRST_HASH = "#/today";

/**
 * Return the route of something done at the roadside.
 *
 * @param {string} pattern
 * @param {Route["open"]} open
 * @param {string} back
 * @returns {Route}
 */
function action(pattern, open, back) {
  return { pattern, open, back, isAction: true };
}
