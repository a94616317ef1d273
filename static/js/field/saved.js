/**
 * What is said once something is on the phone's disk, with ten seconds to take it back.
 *
 * @module
 */

import { UNDO_S } from "./constants.js";
import { recordAction } from "./operations.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./types.js").StoredOperation} StoredOperation */

const UNDONE = "undone by the person who recorded it";

/**
 * Say that something is saved on this phone, and offer to undo it.
 *
 * @param {App} app
 * @param {StoredOperation} operation
 * @param {string} [words]
 * @param {string} [backHash] the screen to show again after Undo, filled in as it was
 */
export function saySaved(app, operation, words = "Saved on this phone", backHash = "") {
  app.say(words, {
    actionWords: "Undo",
    seconds: UNDO_S,
    onAction: () => undo(app, operation, backHash),
  });
}

/**
 * Take back what was recorded: it is never sent, or a discard goes after it where it was.
 *
 * @param {App} app
 * @param {StoredOperation} operation
 * @param {string} [backHash]
 */
export async function undo(app, operation, backHash = "") {
  const isBack = await app.store.withdraw(operation.client_uuid, UNDONE);
  const now = await app.store.operation(operation.client_uuid);
  if (isBack) {
    app.say("Undone. It is kept under To send, and never sent.");
  } else if (now?.state === "acknowledged" || now?.state === "waiting") {
    const why = now.state === "waiting"
      ? "Another record rests on it: undo that one first."
      : "It is on the server already. Record what is so; readings are put right under To send.";
    app.say(`Not undone. ${why}`, { kind: "warn" });
  } else {
    await recordAction(app, {
      kind: "discard",
      payload: { operation: operation.client_uuid, reason: UNDONE },
      sign: operation.sign_key,
    });
    app.say("It was on its way already: that it is undone is sent after it.");
  }
  await app.refreshCount();
  app.go((isBack && backHash) || window.location.hash, { replace: true });
}
