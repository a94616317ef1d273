/**
 * Asks the phone where it is, once, when the person taps the button.
 *
 * @module
 */

const LONGEST_WAIT_MS = 15_000;
const OLDEST_POSITION_MS = 10_000;
const COORDINATE_DECIMALS = 6;

/** @type {Record<number, string>} */
const TROUBLE = {
  1: "The phone did not let this page see where it is. Allow it in the phone's settings, search by street, or type a position.",
  2: "The phone could not find where it is. Step into the open and try again, search by street, or type a position.",
  3: "Finding the position took too long. Step into the open and try again, search by street, or type a position.",
};

/**
 * @param {HTMLFormElement} form
 * @param {GeolocationPosition} position
 */
function sendPosition(form, position) {
  const { latitude, longitude, accuracy } = position.coords;
  const fields = /** @type {Record<string, HTMLInputElement>} */ (
    /** @type {unknown} */ (form.elements)
  );
  fields.latitude.value = latitude.toFixed(COORDINATE_DECIMALS);
  fields.longitude.value = longitude.toFixed(COORDINATE_DECIMALS);
  fields.accuracy_m.value = String(Math.ceil(accuracy));
  form.submit();
}

const form = document.querySelector("[data-near-form]");
const button = document.querySelector("[data-near-button]");
const action = document.querySelector("[data-near-action]");
const trouble = document.querySelector("[data-near-trouble]");
if (
  form instanceof HTMLFormElement &&
  button instanceof HTMLButtonElement &&
  action instanceof HTMLElement &&
  trouble instanceof HTMLElement &&
  "geolocation" in navigator
) {
  const words = button.textContent;
  action.hidden = false;
  button.addEventListener("click", () => {
    button.disabled = true;
    button.textContent = "Finding where you are…";
    trouble.hidden = true;
    navigator.geolocation.getCurrentPosition(
      (position) => sendPosition(form, position),
      (error) => {
        button.disabled = false;
        button.textContent = words;
        trouble.textContent = TROUBLE[error.code] ?? TROUBLE[2];
        trouble.hidden = false;
      },
      {
        enableHighAccuracy: true,
        timeout: LONGEST_WAIT_MS,
        maximumAge: OLDEST_POSITION_MS,
      },
    );
  });
}

export {};
