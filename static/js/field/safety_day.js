/**
 * Whether the day's reminder was read: once a day, for each person on this phone.
 *
 * @module
 */
import { deviceDay } from "./clock.js";
import { makeHash } from "./router.js";
import { StorageFullError } from "./store.js";

const SETTING = "safety_read_on";

/**
 * Return the address of the reminder, while it still has to be read today; "" after that.
 *
 * @param {import("./page.js").App} app
 * @param {string} next the screen that comes after it
 * @returns {Promise<string>}
 */
export async function safetyHash(app, next) {
  const setting = settingOf(app);
  const readOn = app.memory.get(setting) ?? (await app.store.setting(setting));
  return readOn === deviceDay(app.now()) ? "" : makeHash("#/safety", { next });
}

/**
 * Keep that the reminder was read today.
 *
 * @param {import("./page.js").App} app
 * @returns {Promise<void>}
 */
export async function keepSafetyRead(app) {
  const [setting, today] = [settingOf(app), deviceDay(app.now())];
  // A phone without room shows it again next time; it must not keep the crew from going on.
  app.memory.set(setting, today);
  try {
    await app.store.setSetting(setting, today);
  } catch (error) {
    if (!(error instanceof StorageFullError)) {
      throw error;
    }
  }
}

/**
 * @param {import("./page.js").App} app
 * @returns {string}
 */
function settingOf(app) {
  return `${SETTING}:${app.basics?.user?.id ?? ""}`;
}
