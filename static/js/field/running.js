/**
 * What runs behind the screens: sending, who is signed in, the app's next version, and room.
 *
 * @module
 */
import { clockWords } from "./clock.js";
import { seeSession } from "./device.js";
import { startQueue } from "./queue.js";
import { askToPersist } from "./space.js";
import { watchUpdates } from "./updates.js";

/** @typedef {import("./store.js").Store} Store */
/** @typedef {import("./device.js").Session} Session */

/**
 * @typedef {object} Running
 * @property {import("./queue.js").Queue} queue
 * @property {import("./updates.js").Updates} updates
 * @property {Session} who
 * @property {boolean | null} isPersisted
 * @property {() => Promise<Session>} seeWho ask the server again who is signed in
 * @property {() => { kind: "" | "warn" | "stop", words: string, action?: { words: string, address?: string, onAction?: () => void } }[]} notes
 *   what stands on every screen now, the most important first
 * @property {(listener: () => void) => void} onNotes called when they may have changed
 */

/**
 * Start everything that runs behind the screens.
 *
 * @param {{ store: Store, version: string, connection: import("./connection.js").Connection }} app
 * @returns {Promise<Running>}
 */
export async function startRunning(app) {
  const queue = startQueue(app);
  const updates = watchUpdates();
  /** @type {Set<() => void>} */
  const listeners = new Set();
  const tell = () => listeners.forEach((listener) => listener());
  /** @type {Session} */
  const unseen = { state: "offline", person: null, sentence: "" };
  let isReplaced = false;
  /** @type {Running} */
  const running = {
    queue,
    updates,
    who: unseen,
    isPersisted: null,
    async seeWho() {
      running.who = await seeSession(app);
      if (running.who.state === "signed_in") {
        queue.wake();
        running.isPersisted = await askToPersist();
      }
      tell();
      return running.who;
    },
    notes: () => notesOf(app, running, isReplaced),
    onNotes: (listener) => void listeners.add(listener),
  };
  app.store.onChange(tell);
  queue.addEventListener("outcome", tell);
  for (const news of ["ready", "trouble", "waiting"]) {
    updates.addEventListener(news, tell);
  }
  updates.addEventListener("replaced", () => {
    isReplaced = true;
    tell();
  });
  app.connection.addEventListener("heard", tell);
  app.connection.addEventListener("online", () => {
    void running.seeWho();
    void updates.ask();
  });
  const person = await app.store.setting("person");
  if (running.who === unseen) {
    running.who = { ...unseen, person };
  }
  return running;
}

/**
 * @param {{ store: Store, connection: import("./connection.js").Connection }} app
 * @param {Running} running
 * @param {boolean} isReplaced
 * @returns {ReturnType<Running["notes"]>}
 */
function notesOf(app, running, isReplaced) {
  const { queue, updates, who } = running;
  const stuck = ["busy", "not_known", "full", "broken"].includes(queue.outcome?.state ?? "");
  /** @type {ReturnType<Running["notes"]>} */
  const notes = [];
  const again = { words: "Load again", onAction: () => window.location.reload() };
  if (app.store.isOutdated || isReplaced) {
    const words =
      "A newer version of the app took over in another tab. Save what you are typing, then load " +
      "this page again.";
    notes.push({ kind: "warn", words, action: again });
  }
  if (queue.outcome && stuck) {
    notes.push({ kind: "stop", words: queue.outcome.sentence });
  }
  const clock = clockWords(app.connection.skew_s);
  if (clock) {
    notes.push({ kind: "warn", words: clock });
  }
  if (who.sentence) {
    const kind = who.state === "refused" ? "stop" : "warn";
    const action = { words: "Sign in", address: "/sign-in/?next=/field/" };
    notes.push({ kind, words: who.sentence, action });
  }
  if (updates.isTakingOver) {
    notes.push({ kind: "", words: "The new version takes over. The app is loaded again in a moment." });
  } else if (updates.isWaiting) {
    const action = { words: "Update now", onAction: () => updates.takeOver() };
    const words = "A new version of the app is here. What waits to be sent stays as it is.";
    notes.push({ kind: "", words, action });
  }
  if (updates.sentence) {
    notes.push({ kind: "warn", words: updates.sentence });
  }
  return notes;
}
