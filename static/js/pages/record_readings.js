/**
 * Shows the running mean of each colour against its level while values are typed.
 *
 * @module
 */
import { contrast, meanWords, meetsLevel, sumReadings } from "../shared/readings.js";

/**
 * @param {Element} row
 * @returns {{ sum: number, count: number }}
 */
function readingsOf(row) {
  const boxes = /** @type {NodeListOf<HTMLInputElement>} */ (row.querySelectorAll(".values input"));
  return sumReadings([...boxes].map((box) => box.value));
}

/**
 * @param {HTMLElement} place
 * @param {boolean | null} isMet
 */
function mark(place, isMet) {
  place.classList.toggle("is-met", isMet === true);
  place.classList.toggle("is-below", isMet === false);
  place.classList.toggle("soft", isMet === null);
}

/**
 * @param {HTMLElement} row
 * @param {string} untouched
 */
function showMean(row, untouched) {
  const place = /** @type {HTMLElement} */ (row.querySelector("[data-mean]"));
  const readings = readingsOf(row);
  const level = row.dataset.level ?? "";
  if (readings.count === 0) {
    place.innerHTML = untouched;
    mark(place, null);
    return;
  }
  const isMet = meetsLevel(readings, level);
  const side = isMet === null ? "" : isMet ? ", at or above the level" : ", below the level";
  place.textContent = `mean of ${readings.count}: ${meanWords(readings, level)}${side}`;
  mark(place, isMet);
}

/**
 * @param {HTMLElement} place
 * @param {Element[]} rows
 */
function showContrast(place, rows) {
  const white = rows.find((row) => row instanceof HTMLElement && row.dataset.colour === "white");
  const red = rows.find((row) => row instanceof HTMLElement && row.dataset.colour === "red");
  const level = place.dataset.level ?? "";
  const found = white && red ? contrast(readingsOf(white), readingsOf(red), level) : null;
  place.hidden = found === null;
  if (found) {
    const side = found.isMet ? "at or above" : "below";
    const unsure = place.dataset.levelMark ? ` (level ${place.dataset.levelMark})` : "";
    place.textContent = `white to red ${found.words} to 1, ${side} ${Number(level)} to 1${unsure}`;
    mark(place, found.isMet);
  }
}

/**
 * Let the angles follow the instrument that is picked; each is printed on it.
 *
 * @param {HTMLFormElement} form
 */
function followInstrument(form) {
  const known = document.getElementById("instrument-geometries");
  /** @type {Record<string, Record<string, string>>} */
  const geometries = JSON.parse(known?.textContent ?? "{}");
  form.querySelector("[name=instrument]")?.addEventListener("change", (event) => {
    const picked = event.target instanceof HTMLSelectElement ? event.target.value : "";
    for (const [name, angle] of Object.entries(geometries[picked] ?? {})) {
      const field = form.querySelector(`[name=${name}]`);
      if (field instanceof HTMLInputElement) {
        field.value = angle;
      }
    }
  });
}

const form = document.querySelector("[data-readings]");
if (form instanceof HTMLFormElement) {
  const rows = [...form.querySelectorAll(".colour-row")];
  const ratio = form.querySelector("[data-contrast]");
  const untouched = rows.map((row) => row.querySelector("[data-mean]")?.innerHTML ?? "");
  const show = () => {
    rows.forEach((row, at) => row instanceof HTMLElement && showMean(row, untouched[at]));
    if (ratio instanceof HTMLElement) {
      showContrast(ratio, rows);
    }
  };
  form.addEventListener("input", show);
  followInstrument(form);
  show();
}
const refusal = document.querySelector("[data-refusal]");
if (refusal instanceof HTMLElement) {
  refusal.focus();
}
