/**
 * Shows what was loaded on the press while its times are typed.
 *
 * @module
 */

/**
 * @param {HTMLFormElement} form
 * @param {HTMLElement} place
 * @param {string} address
 */
function follow(form, place, address) {
  /** @type {AbortController | null} */
  let asking = null;
  form.addEventListener("change", async (event) => {
    const field = event.target;
    if (
      !(field instanceof HTMLInputElement || field instanceof HTMLSelectElement) ||
      !["press", "started_at", "finished_at"].includes(field.name)
    ) {
      return;
    }
    asking?.abort();
    asking = new AbortController();
    const typed = new FormData(form);
    const query = new URLSearchParams();
    for (const name of ["press", "started_at", "finished_at"]) {
      query.set(name, String(typed.get(name) ?? ""));
    }
    try {
      const answer = await fetch(`${address}?${query}`, { signal: asking.signal });
      if (answer.ok) {
        place.innerHTML = await answer.text();
      }
    } catch (error) {
      if (!(error instanceof DOMException && error.name === "AbortError")) {
        place.textContent =
          "The server did not answer; what was loaded is checked again when the run is recorded.";
      }
    }
  });
}

const form = document.querySelector("[data-run-form]");
const place = document.querySelector("[data-loaded]");
const button = document.querySelector("[data-look]");
if (form instanceof HTMLFormElement && place instanceof HTMLElement) {
  follow(form, place, form.dataset.loadedAddress ?? "");
  if (button instanceof HTMLElement) {
    button.hidden = true;
  }
}

export {};
