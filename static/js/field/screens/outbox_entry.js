/**
 * One thing recorded: what it was, where it stands, and what can be done about it.
 *
 * @module
 */
import { aboutHash, aboutWords } from "../about.js";
import { clear, h, put } from "../dom.js";
import { sayTrouble, wordsField } from "../form.js";
import { recordAction } from "../operations.js";
import { actBar, notice, primaryButton, primaryLink, section } from "../pieces.js";
import {
  againHash,
  contentOf,
  correctHash,
  editHash,
  recordedWords,
  start,
  stateWords,
} from "../recorded_words.js";
import { undo } from "../saved.js";
import { whenWords } from "./outbox.js";

/** @typedef {import("../page.js").App} App */
/** @typedef {import("../types.js").StoredOperation} StoredOperation */

const LONGEST_REASON = 255;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const draw = async () => {
    const operation = await app.store.operation(params.uuid);
    clear(place);
    await fill(place, app, operation);
  };
  const stop = app.store.onChange(() => {
    // What a person types here must not be drawn away.
    if (!place.querySelector("details[open]")) {
      void draw();
    }
  });
  app.leaving().addEventListener("abort", stop);
  await draw();
}

/**
 * @param {HTMLElement} place
 * @param {App} app
 * @param {StoredOperation | null} operation
 */
async function fill(place, app, operation) {
  if (!operation) {
    put(
      place,
      h("h1", null, "Not on this phone"),
      notice(
        "",
        h(
          "p",
          null,
          "This phone does not hold that record, or not any more: what the server has is kept here for 30 days.",
        ),
      ),
    );
    return;
  }
  const content = contentOf(operation);
  const { title, lines } = recordedWords(content, app.basics);
  const about = await aboutWords(app, operation);
  const hash = aboutHash(operation);
  const isOpen = ["refused", "held"].includes(operation.state) && operation.replaced_by === null;
  put(
    place,
    h("h1", null, title),
    about ? h("p", null, hash ? h("a", { href: hash, class: "inline" }, about) : about) : null,
    statePiece(operation),
    h("ul", { class: "plain recorded" }, lines.map((line) => h("li", null, line))),
    h(
      "dl",
      { class: "facts" },
      h("dt", null, "Recorded"),
      h("dd", null, whenWords(operation.recorded_at_ms)),
      h("dt", null, "By"),
      h("dd", null, await personWords(app, operation)),
    ),
    await photosPiece(app, operation),
    operation.replaced_by
      ? h(
        "p",
        null,
        h(
          "a",
          { class: "inline", href: `#/outbox/${operation.replaced_by}` },
          "Open the record that came after it",
        ),
      )
      : null,
    operation.replaces
      ? h(
        "p",
        null,
        h(
          "a",
          { class: "inline", href: `#/outbox/${operation.replaces}` },
          "Open the record it puts right",
        ),
      )
      : null,
    isOpen ? discardPiece(app, operation) : null,
    actPiece(app, operation, content, isOpen),
  );
}

/**
 * @param {StoredOperation} operation
 * @returns {HTMLElement}
 */
function statePiece(operation) {
  const words = h("p", null, h("strong", null, `${start(stateWords(operation))}.`));
  const why = operation.answer?.sentence || operation.withdrawn_reason || "";
  const isOpen = operation.replaced_by === null;
  const kind = operation.state === "refused" && isOpen
    ? "stop"
    : operation.state === "held" && isOpen ? "warn" : "";
  return notice(kind, words, why ? h("p", { "data-why": "" }, why) : null);
}

/**
 * Return the one action: to put it right, to send it, or to take it back.
 *
 * @param {App} app
 * @param {StoredOperation} operation
 * @param {Record<string, any>} content
 * @param {boolean} isOpen
 * @returns {HTMLElement | null}
 */
function actPiece(app, operation, content, isOpen) {
  const edit = editHash(content);
  if (isOpen && edit) {
    return actBar(primaryLink("Edit and send again", edit));
  }
  const correct = correctHash(content);
  if (operation.state === "acknowledged" && correct) {
    return actBar(primaryLink("Put these readings right", correct));
  }
  if (operation.state === "withdrawn" && edit) {
    return actBar(primaryLink("Record it again", againHash(content)));
  }
  if (operation.state === "waiting" && operation.tries === 0) {
    return actBar(primaryButton("Undo this record", () => undo(app, operation)));
  }
  return null;
}

/**
 * @param {App} app
 * @param {StoredOperation} operation
 * @returns {HTMLElement}
 */
function discardPiece(app, operation) {
  const reason = wordsField("reason", "Why it is discarded", "", { most: LONGEST_REASON });
  const trouble = h("div", { class: "notice stop", role: "alert", tabindex: "-1", hidden: true });
  const discard = async () => {
    const said = reason.input.value.trim();
    if (!said) {
      trouble.hidden = false;
      clear(trouble, h("p", null, "Write why it is discarded; your engineer sees it."));
      reason.input.focus();
      return;
    }
    try {
      await recordAction(app, {
        kind: "discard",
        payload: { operation: operation.client_uuid, reason: said },
        sign: operation.sign_key,
      });
      await app.refreshCount();
      app.go("#/outbox", { replace: true });
      app.say("Discarded. What was recorded is kept.");
    } catch (error) {
      sayTrouble(trouble, app, error, (unsaved) => unsaved.again());
    }
  };
  return h(
    "details",
    null,
    h("summary", null, "Discard it instead"),
    h(
      "div",
      { class: "stack-small" },
      reason.element,
      trouble,
      h("button", { type: "button", class: "button", onclick: discard }, "Discard this record"),
    ),
  );
}

/**
 * @param {App} app
 * @param {StoredOperation} operation
 * @returns {Promise<HTMLElement | null>}
 */
async function photosPiece(app, operation) {
  const photos = await app.store.photosOf(operation.client_uuid);
  if (photos.length === 0) {
    return null;
  }
  const pieces = await Promise.all(
    photos.map(async (photo) => {
      const kept = await app.store.photo(photo.photo_uuid);
      const address = kept ? URL.createObjectURL(kept.blob) : "";
      if (address) {
        app.leaving().addEventListener("abort", () => URL.revokeObjectURL(address));
      }
      return h(
        "figure",
        null,
        address ? h("img", { class: "photo", src: address, alt: `Photo, ${photo.role}` }) : null,
        h("figcaption", { class: "small" }, photoWords(photo)),
        photo.state === "waiting" && photo.sent_bytes
          ? h(
            "progress",
            { max: photo.size_bytes, value: photo.sent_bytes, "aria-label": "Photo sent" },
          )
          : null,
      );
    }),
  );
  return section(photos.length === 1 ? "Photo" : "Photos", pieces);
}

/**
 * @param {import("../types.js").StoredPhoto} photo
 * @returns {string}
 */
function photoWords({ role, state, sentence, is_here }) {
  const which = role === "seen" ? "Photo" : `Photo ${role}`;
  if (state === "stored") {
    return `${which}: on the server${is_here ? "" : "; no longer kept here, to make room"}`;
  }
  return state === "refused" ? `${which} refused: ${sentence}` : `${which}: on this phone, to send`;
}

/**
 * @param {App} app
 * @param {StoredOperation} operation
 * @returns {Promise<string>}
 */
async function personWords(app, operation) {
  const person = await app.store.setting("person");
  return person?.id === operation.user_id
    ? person.name
    : `person ${operation.user_id}, who used this phone`;
}
