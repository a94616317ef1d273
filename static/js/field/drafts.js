/**
 * What is typed and not saved yet: kept for the day, so that leaving a screen loses none of it.
 *
 * @module
 */

const PREFIX = "field-draft:";
const KEPT_MS = 86_400_000;

/** @typedef {{ at_ms: number, values: Record<string, string | boolean> }} Draft */
/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLTextAreaElement} Typed */

/**
 * Fill a form with what was typed there before, and keep what is typed from now on.
 *
 * @param {HTMLElement} place
 * @param {string} hash of the screen
 * @param {number} now_ms
 */
export function keepDraft(place, hash, now_ms) {
  const key = draftKey(hash);
  const draft = draftOf(key, now_ms);
  for (const [name, value] of Object.entries(draft?.values ?? {})) {
    fill(place, name, value);
  }
  const keep = () => {
    /** @type {Record<string, string | boolean>} */
    const values = {};
    for (const input of inputsOf(place)) {
      if (input instanceof HTMLInputElement && input.type === "radio") {
        if (input.checked) {
          values[input.name] = input.value;
        }
      } else {
        values[input.name] = input instanceof HTMLInputElement && input.type === "checkbox"
          ? input.checked
          : input.value;
      }
    }
    window.localStorage.setItem(key, JSON.stringify({ at_ms: now_ms, values }));
  };
  place.addEventListener("input", keep);
  place.addEventListener("change", keep);
}

/**
 * Let go of what was typed on a screen: it is saved.
 *
 * @param {string} hash
 */
export function forgetDraft(hash) {
  window.localStorage.removeItem(draftKey(hash));
}

/**
 * Let go of the photos of a form that are recorded now, and of what it left out. One that was
 * taken after the record was made stays with the form.
 *
 * @param {import("./store.js").Store} store
 * @param {string} hash
 * @param {string[]} recorded uuids of photos
 */
export async function forgetDraftPhotos(store, hash, recorded) {
  const drafts = await store.draftPhotos(draftKey(hash));
  const leftOut = drafts.filter(({ bytes }) => !bytes).map(({ photo_uuid }) => photo_uuid);
  await store.dropDraftPhotos([...recorded, ...leftOut]);
}

/**
 * Return under what a screen's typing is kept: how its sign was found does not matter.
 *
 * @param {string} hash
 */
export function draftKey(hash) {
  const [path, query = ""] = hash.split("?", 2);
  const asked = new URLSearchParams(query);
  return `${PREFIX}${path}:${asked.get("replaces") ?? asked.get("from") ?? ""}`;
}

/**
 * @param {string} key
 * @param {number} now_ms
 * @returns {Draft | null}
 */
function draftOf(key, now_ms) {
  /** @type {Draft | null} */
  const draft = JSON.parse(window.localStorage.getItem(key) ?? "null");
  if (draft && Math.abs(now_ms - draft.at_ms) > KEPT_MS) {
    window.localStorage.removeItem(key);
    return null;
  }
  return draft;
}

/**
 * @param {HTMLElement} place
 * @returns {Typed[]}
 */
function inputsOf(place) {
  const all = /** @type {NodeListOf<Typed>} */ (
    place.querySelectorAll("input[name], select[name], textarea[name]")
  );
  return [...all].filter((each) => each.type !== "file");
}

/**
 * @param {HTMLElement} place
 * @param {string} name
 * @param {string | boolean} value
 */
function fill(place, name, value) {
  for (const input of inputsOf(place).filter((each) => each.name === name)) {
    if (input instanceof HTMLInputElement && ["radio", "checkbox"].includes(input.type)) {
      input.checked = input.type === "radio" ? input.value === value : value === true;
      if (!input.checked) {
        continue;
      }
    } else {
      input.value = String(value);
    }
    input.dispatchEvent(new Event("input", { bubbles: true }));
    input.dispatchEvent(new Event("change", { bubbles: true }));
  }
}
