/**
 * The worker that keeps the app for offline, and its next version: it waits until the person
 * says that it may take over.
 *
 * @module
 */
import { FIELD_ADDRESS, WORKER_ADDRESS } from "./constants.js";
import { NotSecureError } from "./operations.js";

const NOT_KEPT =
  "The app could not be kept on this phone, and will not open without signal. It is tried again " +
  "whenever there is signal.";
const BEING_KEPT =
  "The app is still being kept on this phone. Stay where there is signal until this line is gone.";

/**
 * Tells `ready` once the app is kept for offline, `trouble` when it could not be, `waiting` when
 * a new version is here, `replaced` when another tab let it take over.
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
    const hadOne = Boolean(workers?.controller);
    if (!workers) {
      this.sentence = window.isSecureContext
        ? "This browser cannot keep the app for when there is no signal."
        : new NotSecureError().message;
      return;
    }
    workers.addEventListener("controllerchange", () => {
      if (this.isTakingOver) {
        window.location.reload();
      } else if (hadOne) {
        this.tell("replaced");
      }
    });
    void workers.ready.then(() => {
      this.isReady = true;
      this.sentence = "";
      this.tell("ready");
    });
    await this.register();
  }

  /** Ask the browser for the worker; one that is there already goes on when there is no signal. */
  async register() {
    const workers = navigator.serviceWorker;
    try {
      const options = { scope: FIELD_ADDRESS, updateViaCache: /** @type {const} */ ("none") };
      this.registration = await workers.register(WORKER_ADDRESS, options);
    } catch {
      this.registration = (await workers.getRegistration(FIELD_ADDRESS)) ?? null;
      this.tellIfNotKept(NOT_KEPT);
    }
    this.registration?.addEventListener("updatefound", () => this.watch());
    this.watch();
  }

  watch() {
    const installing = this.registration?.installing;
    installing?.addEventListener("statechange", () => {
      if (installing.state === "redundant") {
        this.tellIfNotKept(NOT_KEPT);
      }
      this.look();
    });
    if (installing) {
      this.tellIfNotKept(BEING_KEPT);
    }
    this.look();
  }

  /** @param {string} sentence said while no version at all is kept */
  tellIfNotKept(sentence) {
    if (!this.registration?.active) {
      this.sentence = sentence;
      this.tell("trouble");
    }
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
    if (navigator.serviceWorker && !this.registration?.active && !this.registration?.installing) {
      await this.register();
      return;
    }
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
