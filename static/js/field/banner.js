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

/**
 * @typedef {object} Saying
 * @property {string} [actionWords]
 * @property {() => unknown} [onAction]
 * @property {number} [seconds]
 * @property {"" | "warn" | "stop"} [kind]
 */

/** @typedef {ReturnType<import("./running.js").Running["notes"]>} Notes */

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
    this.notes = part("notes");
    this.notesShown = "";
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

  /** @param {boolean | null} isOnline null while nobody has been asked yet */
  showLine(isOnline) {
    const words = isOnline === null ? "" : isOnline ? "Online" : "Offline";
    this.line.dataset.online = String(isOnline);
    if (this.line.textContent !== words) {
      clear(
        this.line,
        words ? sprite(isOnline ? "line-on" : "line-off", "line-mark") : null,
        words,
      );
    }
  }

  /**
   * Show what stands on every screen, the most important of it.
   *
   * @param {Notes} notes
   */
  showNotes(notes) {
    const [first] = notes;
    const shown = JSON.stringify(first ?? null);
    if (shown === this.notesShown) {
      return;
    }
    this.notesShown = shown;
    clear(
      this.notes,
      first
        ? h(
            "div",
            { class: first.kind ? `notice ${first.kind}` : "notice" },
            h("p", null, first.words),
            first.action ? actionOf(first.action) : null,
          )
        : null,
    );
  }

  /**
   * @param {string} words
   * @param {Saying} how
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
      put(
        this.said,
        h("button", { type: "button", class: "button", onclick: tapped }, actionWords),
      );
    }
    this.sayTimer = window.setTimeout(hide, seconds * 1000);
  }
}

/**
 * @param {{ words: string, address?: string, onAction?: () => void }} action
 * @returns {HTMLElement}
 */
function actionOf({ words, address, onAction }) {
  return address
    ? h("a", { class: "button", href: address }, words)
    : h("button", { type: "button", class: "button", onclick: () => onAction?.() }, words);
}
