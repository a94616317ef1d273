/**
 * The phone's compass, asked once.
 *
 * @module
 */
import { headingOf } from "./bearings.js";

const LONGEST_WAIT_MS = 3_000;
const EVENTS = ["deviceorientationabsolute", "deviceorientation"];

/**
 * Return the bearing the back of the phone points to; null where no compass answers.
 *
 * @returns {Promise<number | null>}
 */
export async function readHeading() {
  if (!(await isAllowed())) {
    return null;
  }
  return new Promise((resolve) => {
    /** @param {number | null} heading_deg */
    const end = (heading_deg) => {
      window.clearTimeout(timer);
      for (const name of EVENTS) {
        window.removeEventListener(name, hear);
      }
      resolve(heading_deg);
    };
    /** @param {Event} event */
    const hear = (event) => {
      const heading_deg = headingOf(/** @type {any} */ (event));
      if (heading_deg !== null) {
        end(heading_deg);
      }
    };
    const timer = window.setTimeout(() => end(null), LONGEST_WAIT_MS);
    for (const name of EVENTS) {
      window.addEventListener(name, hear);
    }
  });
}

/** @returns {Promise<boolean>} whether the phone lets the compass be read; some ask the person */
async function isAllowed() {
  const asks = /** @type {any} */ (window.DeviceOrientationEvent);
  if (!asks) {
    return false;
  }
  return typeof asks.requestPermission !== "function" || (
    await asks.requestPermission()
  ) === "granted";
}
