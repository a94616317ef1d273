/**
 * What the action screens are made of: labelled fields, photos, what is wrong, and the saving.
 *
 * @module
 */

import { clear, h } from "./dom.js";
import { forgetDraft, forgetDraftPhotos } from "./drafts.js";
import { NobodyError, NotSavedError } from "./operations.js";
import { exportUnsaved, offerFile, outboxName } from "./outbox_file.js";
import { actBar, field, notice, primaryButton } from "./pieces.js";
import { againHash, contentOf } from "./recorded_words.js";
import { saySaved } from "./saved.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./types.js").StoredOperation} StoredOperation */
/** @typedef {{ sentence: string, input?: HTMLElement | null }} Wrong */

const NOTE_MOST = 2000;

/**
 * Return a labelled box for a line of text.
 *
 * @param {string} id
 * @param {string} label
 * @param {string} value
 * @param {{ hint?: string, most?: number, props?: import("./dom.js").Props }} [more]
 * @returns {{ element: HTMLElement, input: HTMLInputElement }}
 */
export function textField(id, label, value, { hint = "", most = 255, props = {} } = {}) {
  const input = h(
    "input",
    { type: "text", id, name: id, value, maxlength: most, autocomplete: "off", ...props },
  );
  return { element: field(label, input, hint), input };
}

/**
 * Return a labelled box for a number, with the phone's own keys for figures.
 *
 * @param {string} id
 * @param {string} label
 * @param {string} value
 * @param {{ hint?: string }} [more]
 * @returns {{ element: HTMLElement, input: HTMLInputElement }}
 */
export function numberField(id, label, value, { hint = "" } = {}) {
  return textField(id, label, value, { hint, most: 24, props: { inputmode: "decimal" } });
}

/**
 * Return a labelled calendar day.
 *
 * @param {string} id
 * @param {string} label
 * @param {string} value such as 2026-11-25
 * @returns {{ element: HTMLElement, input: HTMLInputElement }}
 */
export function dayField(id, label, value) {
  const input = h("input", { type: "date", id, name: id, value });
  return { element: field(label, input), input };
}

/**
 * Return a labelled box for some sentences.
 *
 * @param {string} id
 * @param {string} label
 * @param {string} value
 * @param {{ hint?: string, most?: number }} [more]
 * @returns {{ element: HTMLElement, input: HTMLTextAreaElement }}
 */
export function wordsField(id, label, value, { hint = "", most = NOTE_MOST } = {}) {
  const input = h("textarea", { id, name: id, rows: 2, maxlength: most, value });
  return { element: field(label, input, hint), input };
}

/**
 * Return a labelled list to pick from.
 *
 * @param {string} id
 * @param {string} label
 * @param {[string, string][]} choices
 * @param {string} value "" while nothing is picked
 * @param {{ empty?: string, hint?: string }} [more]
 * @returns {{ element: HTMLElement, input: HTMLSelectElement }}
 */
export function pickField(id, label, choices, value, { empty = "pick one", hint = "" } = {}) {
  const input = h(
    "select",
    { id, name: id },
    h("option", { value: "" }, empty),
    choices.map(([key, words]) => h("option", { value: key }, words)),
  );
  input.value = value;
  return { element: field(label, input, hint), input };
}

/**
 * Return a box to tick.
 *
 * @param {string} id
 * @param {string} label
 * @param {boolean} isTicked
 * @returns {{ element: HTMLElement, input: HTMLInputElement }}
 */
export function tickField(id, label, isTicked) {
  const input = h("input", { type: "checkbox", id, name: id, checked: isTicked });
  return { element: h("label", { class: "check", for: id }, input, h("span", null, label)), input };
}

/**
 * Return which choice of a group is taken; "" for none.
 *
 * @param {Element} place
 * @param {string} name
 * @returns {string}
 */
export function picked(place, name) {
  const input = place.querySelector(`input[name="${name}"]:checked`);
  return input instanceof HTMLInputElement ? input.value : "";
}

/**
 * Return the operation a screen puts right or starts from, and its payload.
 *
 * @param {App} app
 * @param {Record<string, string>} params
 * @returns {Promise<{ operation: StoredOperation | null, payload: Record<string, any> | null,
 *   replaces: string | null, why: string }>}
 */
export async function earlierOf(app, params) {
  const { store } = app;
  const replaced = params.replaces ? await store.operation(params.replaces) : null;
  const operation = params.from ? await store.operation(params.from) : replaced;
  return {
    operation,
    payload: operation ? contentOf(operation).payload : null,
    replaces: replaced?.client_uuid ?? null,
    why: replaced?.answer?.sentence ?? "",
  };
}

/**
 * Return the server's sentence above a form that is put right; nothing above a new one.
 *
 * @param {{ operation: StoredOperation | null, why: string }} earlier
 * @returns {HTMLElement | null}
 */
export function whyAgain({ operation, why }) {
  if (!operation || !why) {
    return null;
  }
  const held = operation.state === "held";
  return notice(
    "warn",
    h(
      "p",
      null,
      h("strong", null, held ? "This waits on the server." : "The server refused this."),
      ` ${why}`,
    ),
    h("p", null, "Put it right and save it again. What was recorded first is kept as well."),
  );
}

/**
 * Return the bar that saves: what is wrong is said above it, and everything typed stays.
 *
 * @param {App} app
 * @param {object} given
 * @param {string} given.words of the button, a verb and a noun
 * @param {() => Wrong[]} given.check
 * @param {() => Promise<StoredOperation>} given.record
 * @param {(operation: StoredOperation) => void} given.after shows the next screen
 * @param {string} [given.said]
 * @returns {HTMLElement & { save: (how?: { isChecked?: boolean }) => Promise<void> }}
 */
export function saveBar(app, { words, check, record, after, said }) {
  const trouble = h(
    "div",
    { class: "notice stop", role: "alert", tabindex: "-1", "data-refusal": true, hidden: true },
  );
  const draft = window.location.hash;
  let isBusy = false;
  /** @param {() => Promise<StoredOperation>} store */
  const attempt = async (store) => {
    if (isBusy) {
      return;
    }
    isBusy = true;
    trouble.hidden = true;
    try {
      const operation = await store();
      forgetDraft(draft);
      const photos = contentOf(operation).photos.map((/** @type {any} */ each) => each.photo_uuid);
      // It is saved: a photo that could not be let go here is known by its id and not shown.
      await forgetDraftPhotos(app.store, draft, photos).catch(() => undefined);
      await app.refreshCount();
      after(operation);
      saySaved(app, operation, said, againHash(contentOf(operation)));
    } catch (error) {
      sayTrouble(trouble, app, error, (unsaved) => attempt(unsaved.again));
    } finally {
      isBusy = false;
    }
  };
  const save = async ({ isChecked = false } = {}) => {
    const wrong = isChecked ? [] : check();
    if (wrong.length > 0) {
      showWrong(trouble, wrong);
      return;
    }
    await attempt(record);
  };
  const bar = actBar(trouble, primaryButton(words, () => save(), { "data-save": true }));
  return Object.assign(bar, { save });
}

/**
 * Return what is wrong with a day on which something is said to have been done.
 *
 * @param {HTMLInputElement} input
 * @param {string} today
 * @param {string} done in words
 * @returns {Wrong[]}
 */
export function dayWrong(input, today, done) {
  if (!input.value) {
    return [{ sentence: `Say on which day it was ${done}.`, input }];
  }
  return input.value > today
    ? [
      {
        sentence: `It cannot have been ${done} on ${input.value}: today is ${today} by this phone.`,
        input,
      },
    ]
    : [];
}

/**
 * Say what is wrong and go to the first field of it.
 *
 * @param {HTMLElement} trouble
 * @param {Wrong[]} wrong
 */
export function showWrong(trouble, wrong) {
  for (const marked of trouble.ownerDocument.querySelectorAll(".has-error")) {
    marked.classList.remove("has-error");
  }
  for (const { input } of wrong) {
    input?.closest(".field, .chips, .check")?.classList.add("has-error");
  }
  clear(
    trouble,
    h("p", null, h("strong", null, "Not saved yet.")),
    wrong.map(({ sentence }) => h("p", null, sentence)),
  );
  trouble.hidden = false;
  const first = wrong.find(({ input }) => input)?.input;
  const inside = first?.querySelector("input");
  (inside ?? first ?? trouble).focus();
  first?.scrollIntoView({ block: "center" });
}

/**
 * Say that nothing was saved, why, and how to keep it all the same.
 *
 * @param {HTMLElement} trouble
 * @param {App} app
 * @param {unknown} error
 * @param {(unsaved: NotSavedError) => unknown} again
 */
export function sayTrouble(trouble, app, error, again) {
  const why = error instanceof Error ? error.message : String(error);
  clear(
    trouble,
    h("p", null, h("strong", null, "Not saved.")),
    h("p", null, why),
    error instanceof NobodyError
      ? h("p", null, h("a", { href: "#/settings", class: "inline" }, "Sign in"))
      : null,
    error instanceof NotSavedError
      ? h(
          "div",
          { class: "button-pair" },
          h(
            "button",
            { type: "button", class: "button", onclick: () => again(error) },
            "Save again",
          ),
          h(
            "button",
            { type: "button", class: "button", onclick: () => keepAsFile(app, error) },
            "Keep it as a file",
          ),
        )
      : null,
  );
  trouble.hidden = false;
  trouble.focus();
}

/**
 * Give the person a file with what could not be saved, in the form the server imports.
 *
 * @param {App} app
 * @param {NotSavedError} unsaved
 */
async function keepAsFile(app, unsaved) {
  const device = await app.store.setting("device");
  offerFile(await exportUnsaved(app.store, unsaved), outboxName(device?.device_uuid ?? null));
}
