/**
 * Where the phone is, asked again and again while a screen is open.
 *
 * @module
 */

const LONGEST_WAIT_MS = 20_000;
const OLDEST_POSITION_MS = 2_000;

/** @typedef {import("./fixes.js").Fix} Fix */

/** @type {Record<number, string>} */
const TROUBLE = {
  1: "The phone did not let this app see where it is. Allow it in the phone’s settings, or find the sign by its label, on the map or by typing.",
  2: "The phone cannot find where it is just now. Step into the open, or find the sign by its label, on the map or by typing.",
  3: "Finding where the phone is takes long. Step into the open, or find the sign by its label, on the map or by typing.",
};

/**
 * Tell every new position of the phone until the screen is left.
 *
 * @param {AbortSignal} leaving
 * @param {(fix: Fix) => unknown} onFix
 * @param {(sentence: string) => unknown} onTrouble
 */
export function watchPosition(leaving, onFix, onTrouble) {
  if (!("geolocation" in navigator)) {
    onTrouble(TROUBLE[2]);
    return;
  }
  const watch = navigator.geolocation.watchPosition(
    (position) => onFix(fixOf(position)),
    (error) => onTrouble(TROUBLE[error.code] ?? TROUBLE[2]),
    { enableHighAccuracy: true, timeout: LONGEST_WAIT_MS, maximumAge: OLDEST_POSITION_MS },
  );
  leaving.addEventListener("abort", () => navigator.geolocation.clearWatch(watch));
}

/**
 * Ask for a new position once, whatever the phone knew before.
 *
 * @returns {Promise<Fix>}
 * @throws {Error} with a sentence for the person
 */
export function askPosition() {
  return new Promise((resolve, reject) => {
    if (!("geolocation" in navigator)) {
      reject(new Error(TROUBLE[2]));
      return;
    }
    navigator.geolocation.getCurrentPosition(
      (position) => resolve(fixOf(position)),
      (error) => reject(new Error(TROUBLE[error.code] ?? TROUBLE[2])),
      { enableHighAccuracy: true, timeout: LONGEST_WAIT_MS, maximumAge: 0 },
    );
  });
}

/**
 * @param {GeolocationPosition} position
 * @returns {Fix}
 */
function fixOf({ coords }) {
  return {
    latitude_deg: coords.latitude,
    longitude_deg: coords.longitude,
    accuracy_m: coords.accuracy,
  };
}
