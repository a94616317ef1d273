/**
 * The worker that keeps the app for offline, and its next version: it waits until the person
 * says that it may take over.
 *
 * @module
 */
import { FIELD_ADDRESS, WORKER_ADDRESS } from "./constants.js";
import { NotSecureError } from "./operations.js";

/**
 * Tells `ready` once the app is kept for offline, `waiting` when a new version is here,
 * `replaced` when another tab let it take over.
 */
export class Updates extends EventTarget {
  constructor() {
    super();
    /** @type {ServiceWorkerRegistration | null} */
    this.registration = null;
    this.isReady = false;
    this.isWaiting = false;
    this.isTakingOver = false;
    /** @type {string} why the app could not be kept for offline */
    this.sentence = "";
  }

  async start() {
    const workers = navigator.serviceWorker;
    if (!workers) {
      this.sentence = window.isSecureContext
        ? "This browser cannot keep the app for when there is no signal."
        : new NotSecureError().message;
      return;
    }
    const hadOne = workers.controller !== null;
    workers.addEventListener("controllerchange", () => {
      if (this.isTakingOver) {
        window.location.reload();
      } else if (hadOne) {
        this.tell("replaced");
      }
    });
    try {
      const options = { scope: FIELD_ADDRESS, updateViaCache: /** @type {const} */ ("none") };
      this.registration = await workers.register(WORKER_ADDRESS, options);
    } catch (error) {
      if (!hadOne) {
        this.sentence = `The app is not kept for when there is no signal: ${String(error)}`;
      }
      this.registration = (await workers.getRegistration(FIELD_ADDRESS)) ?? null;
    }
    this.registration?.addEventListener("updatefound", () => this.watch());
    this.watch();
    void workers.ready.then(() => {
      this.isReady = true;
      this.tell("ready");
    });
  }

  watch() {
    const { registration } = this;
    registration?.installing?.addEventListener("statechange", () => this.look());
    this.look();
  }

  look() {
    const isWaiting = Boolean(this.registration?.waiting && this.registration.active);
    if (isWaiting && !this.isWaiting) {
      this.isWaiting = true;
      this.tell("waiting");
    }
  }

  /** Ask the server whether there is a new version. */
  async ask() {
    try {
      await this.registration?.update();
    } catch {
      // No signal: the version that is here goes on.
    }
  }

  /** Let the version that waits take over; the page is loaded again. What is recorded stays. */
  takeOver() {
    this.isTakingOver = true;
    this.tell("waiting");
    this.registration?.active?.postMessage({ type: "make_way" });
    this.registration?.waiting?.postMessage({ type: "take_over" });
  }

  /** @param {string} type */
  tell(type) {
    this.dispatchEvent(new Event(type));
  }
}

/**
 * Have the app kept for offline, and watch for its next version.
 *
 * @returns {Updates}
 */
export function watchUpdates() {
  const updates = new Updates();
  void updates.start();
  return updates;
}
