/**
 * Whether the day's reminder was read: once a day, for each person on this phone.
 *
 * @module
 */
import { deviceDay } from "./clock.js";
import { makeHash } from "./router.js";

const SETTING = "safety_read_on";

/**
 * Return the address of the reminder, while it still has to be read today; "" after that.
 *
 * @param {import("./page.js").App} app
 * @param {string} next the screen that comes after it
 * @returns {Promise<string>}
 */
export async function safetyHash(app, next) {
  const readOn = await app.store.setting(settingOf(app));
  return readOn === deviceDay(app.now()) ? "" : makeHash("#/safety", { next });
}

/**
 * Keep that the reminder was read today.
 *
 * @param {import("./page.js").App} app
 * @returns {Promise<void>}
 */
export async function keepSafetyRead(app) {
  await app.store.setSetting(settingOf(app), deviceDay(app.now()));
}

/**
 * @param {import("./page.js").App} app
 * @returns {string}
 */
function settingOf(app) {
  return `${SETTING}:${app.basics?.user?.id ?? ""}`;
}
