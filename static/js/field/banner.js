/**
 * What stands around the screens: the top line, the bar of what was just said, the bottom bar.
 *
 * @module
 */
import { clear, h, put, sprite } from "./dom.js";

const SAID_FOR_S = 6;

/**
 * @typedef {object} Counts
 * @property {number} waiting
 * @property {number} held
 * @property {number} refused
 * @property {number} photos
 */

/**
 * Return what the top line says of what has not reached the server.
 *
 * @param {Counts} counts
 * @returns {string}
 */
export function countWords({ waiting, refused, photos }) {
  const said = [];
  if (waiting > 0) {
    said.push(`${waiting} to send`);
  } else if (photos > 0) {
    said.push(photos === 1 ? "1 photo to send" : `${photos} photos to send`);
  }
  if (refused > 0) {
    said.push(`${refused} refused`);
  }
  return said.join(", ") || "all sent";
}

export class Banner {
  /** @param {Document} page */
  constructor(page) {
    /** @param {string} name */
    const part = (name) => /** @type {HTMLElement} */ (page.querySelector(`[data-${name}]`));
    this.backLink = /** @type {HTMLAnchorElement} */ (part("back"));
    this.placeName = part("place-name");
    this.toSend = part("to-send");
    this.line = part("line");
    this.said = part("said");
    this.bar = part("bar");
    this.sayTimer = 0;
    this.hasEarlier = false;
    this.backLink.addEventListener("click", (event) => {
      if (this.hasEarlier) {
        event.preventDefault();
        window.history.back();
      }
    });
  }

  /**
   * Mark where one is, and where Back leads.
   *
   * @param {import("./routes.js").Route | null} route
   * @param {number} entry of the browser's history
   * @param {string} [placeName]
   */
  showRoute(route, entry, placeName = "") {
    const back = route ? route.back : "#/today";
    this.backLink.hidden = back === undefined;
    this.backLink.href = back ?? "";
    this.hasEarlier = entry > 0;
    this.placeName.textContent = placeName || "signfleet";
    this.bar.hidden = route?.isAction === true;
    for (const link of this.bar.querySelectorAll("a")) {
      if (link.dataset.entry === route?.bar) {
        link.setAttribute("aria-current", "page");
      } else {
        link.removeAttribute("aria-current");
      }
    }
  }

  /** @param {Counts} counts */
  showCounts(counts) {
    const words = countWords(counts);
    if (this.toSend.textContent !== words) {
      this.toSend.textContent = words;
    }
    this.toSend.classList.toggle("has-refused", counts.refused > 0);
  }

  /** @param {boolean} isOnline */
  showLine(isOnline) {
    if (this.line.dataset.online === String(isOnline)) {
      return;
    }
    this.line.dataset.online = String(isOnline);
    clear(
      this.line,
      sprite(isOnline ? "line-on" : "line-off", "line-mark"),
      isOnline ? "Online" : "Offline",
    );
  }

  /**
   * @param {string} words
   * @param {{ actionWords?: string, onAction?: () => unknown, seconds?: number,
   *   kind?: "" | "warn" | "stop" }} how
   */
  say(words, { actionWords, onAction, seconds = SAID_FOR_S, kind = "" }) {
    window.clearTimeout(this.sayTimer);
    const hide = () => {
      window.clearTimeout(this.sayTimer);
      this.said.className = "said";
      clear(this.said);
    };
    this.said.className = kind ? `said is-shown ${kind}` : "said is-shown";
    clear(this.said, h("p", null, words));
    if (actionWords && onAction) {
      const tapped = () => {
        hide();
        onAction();
      };
      put(this.said, h("button", { type: "button", class: "button", onclick: tapped }, actionWords));
    }
    this.sayTimer = window.setTimeout(hide, seconds * 1000);
  }
}
