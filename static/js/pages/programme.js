/**
 * Shows how far the choosing of years is, and the page anew once it is done. Without this
 * script the page shows the same when it is loaded again.
 *
 * @module
 */

const ASK_EVERY_MS = 2000;
const ASK_AFTER_FAILURE_MS = 10000;

/**
 * @param {string} address
 * @param {HTMLElement} place
 */
async function ask(address, place) {
  let wait = ASK_EVERY_MS;
  try {
    const answer = await fetch(address, { headers: { Accept: "application/json" } });
    if (!answer.ok) {
      throw new Error(String(answer.status));
    }
    const progress = await answer.json();
    if (!progress.is_open) {
      window.location.reload();
      return;
    }
    if (place.textContent !== progress.words) {
      place.textContent = progress.words;
    }
  } catch {
    wait = ASK_AFTER_FAILURE_MS;
    place.textContent = "the server did not answer; it is asked again in 10 seconds";
  }
  window.setTimeout(() => ask(address, place), wait);
}

const notice = document.querySelector("[data-progress]");
const place = document.querySelector("[data-progress-words]");
if (notice instanceof HTMLElement && place instanceof HTMLElement) {
  const address = notice.dataset.progress ?? "";
  window.setTimeout(() => ask(address, place), ASK_EVERY_MS);
}

export {};
