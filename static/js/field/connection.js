/**
 * Whether the server answers, known by asking it: a phone in a network may still reach nobody.
 *
 * @module
 */
import { PING_ADDRESS, PING_EVERY_MS, PING_TIMEOUT_MS } from "./constants.js";

/**
 * Asks the server now and then; `online` and `offline` are told when it changes, `heard` after
 * every answer.
 */
export class Connection extends EventTarget {
  /** @param {{ fetch?: typeof fetch }} app */
  constructor(app) {
    super();
    this.app = app;
    /** @type {boolean | null} null until the first answer or its lack */
    this.isOnline = null;
    /** @type {number | null} server's clock minus the phone's, as of the last answer */
    this.skew_s = null;
    /** @type {string | null} */
    this.epoch = null;
  }

  /** Ask the server once; return whether it answered. */
  async ask() {
    const asked_ms = Date.now();
    try {
      const response = await (this.app.fetch ?? fetch)(PING_ADDRESS, {
        credentials: "omit",
        cache: "no-store",
        signal: AbortSignal.timeout(PING_TIMEOUT_MS),
      });
      if (!response.ok) {
        throw new Error(`status ${response.status}`);
      }
      const { epoch, server_time } = await response.json();
      const middle_ms = (asked_ms + Date.now()) / 2;
      this.skew_s = (Date.parse(server_time) - middle_ms) / 1000;
      this.epoch = epoch;
      this.set(true);
      this.dispatchEvent(new Event("heard"));
    } catch {
      this.set(false);
    }
    return this.isOnline;
  }

  /** @param {boolean} isOnline */
  set(isOnline) {
    const wasOnline = this.isOnline;
    this.isOnline = isOnline;
    if (wasOnline !== isOnline) {
      this.dispatchEvent(new Event(isOnline ? "online" : "offline"));
    }
  }
}

/**
 * Watch the connection of a page: asked at once, when the phone says that something changed,
 * when the page comes to the front, and every half minute while it is there.
 *
 * @param {{ fetch?: typeof fetch }} app
 * @returns {Connection}
 */
export function watchConnection(app) {
  const connection = new Connection(app);
  const ask = () => {
    if (document.visibilityState === "visible") {
      void connection.ask();
    }
  };
  window.addEventListener("online", ask);
  window.addEventListener("offline", ask);
  document.addEventListener("visibilitychange", ask);
  setInterval(ask, PING_EVERY_MS);
  ask();
  return connection;
}
