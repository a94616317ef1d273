/**
 * Finding a sign by what is typed: its label or number, its code, or its road.
 *
 * @module
 */
import { clear, h, put } from "../dom.js";
import { actBar, field, notice } from "../pieces.js";
import { readLabel } from "../labels.js";
import { foundHash, foundLine, nothingCarried, waysToFind } from "../sign_lines.js";

const WAIT_AFTER_KEY_MS = 200;
/** A text of this shape is meant as a label, so that a slip in it is pointed out. */
const LIKE_A_LABEL = /^[0-9a-z]{3}[-\s]?[0-9a-z]{3,}$/i;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const input = h("input", {
    id: "find-text",
    type: "search",
    value: params.q ?? "",
    autocomplete: "off",
    autocapitalize: "characters",
    spellcheck: "false",
    enterkeyhint: "search",
    placeholder: "001-0JK, R1-1, Mill",
  });
  const status = h("p", { role: "status", class: "soft" });
  const list = h("ol", { class: "lines" });
  const advice = h("div");
  let timer = 0;
  let turn = 0;

  const look = async () => {
    turn += 1;
    const mine = turn;
    const text = input.value.trim();
    const found = await search(app, text);
    const lines = await Promise.all(
      found.map((each) => foundLine(app, each, { hash: foundHash(each, { by: "typed" }) })),
    );
    if (mine !== turn) {
      return;
    }
    // So that Back comes to the same list.
    window.history.replaceState(
      window.history.state,
      "",
      text ? `#/type?q=${encodeURIComponent(text)}` : "#/type",
    );
    clear(list, lines);
    status.textContent = text ? countWords(found.length) : "";
    clear(advice, text && found.length === 0 ? nothingWords(text) : null);
  };
  input.addEventListener("input", () => {
    window.clearTimeout(timer);
    timer = window.setTimeout(look, WAIT_AFTER_KEY_MS);
  });
  const form = h(
    "form",
    {
      id: "find-form",
      role: "search",
      onsubmit: (/** @type {Event} */ event) => {
        event.preventDefault();
        input.blur();
        void look();
      },
    },
    field("Label or sign number, code, or road", input),
  );
  put(place, h("h1", null, "Type what you know"), waysToFind("type"), await nothingCarried(app));
  put(place, form, status, advice, list);
  put(place, actBar(h("button", { class: "button primary", form: "find-form" }, "Find the sign")));
  await look();
}

/**
 * @param {import("../page.js").App} app
 * @param {string} text
 * @returns {Promise<import("../types.js").Found[]>}
 */
async function search(app, text) {
  if (!text) {
    return [];
  }
  const labelled = readLabel(text).label ? await app.store.byLabel(text) : null;
  return labelled?.kind === "sign" ? [labelled.found] : app.store.byText(text);
}

/**
 * @param {number} count
 * @returns {string}
 */
function countWords(count) {
  return count === 0 ? "Nothing found" : count === 1 ? "1 sign found" : `${count} signs found`;
}

/**
 * @param {string} text
 * @returns {HTMLElement}
 */
function nothingWords(text) {
  const { sentence } = readLabel(text);
  return notice(
    "",
    h("p", null, `No sign this phone carries has “${text}” as its label, number, code or road.`),
    sentence && LIKE_A_LABEL.test(text) && /\d/.test(text) ? h("p", null, sentence) : null,
    h("p", null, "Try the beginning of the road’s name, or look on the map."),
  );
}
