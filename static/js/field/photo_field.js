/**
 * Taking a photo with the phone's own camera; it is made smaller, and kept from that moment on:
 * a form that is left and opened again shows it, until it is saved or taken out.
 *
 * @module
 */

import { deviceDay } from "./clock.js";
import { clockTime, dayWords } from "./day_words.js";
import { clear, h } from "./dom.js";
import { draftKey } from "./drafts.js";
import { shrinkPhoto } from "./pictures.js";
import { contentOf } from "./recorded_words.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {"seen" | "before" | "after"} Role */
/** @typedef {import("./types.js").DraftPhoto} DraftPhoto */
/**
 * @typedef {object} Taken
 * @property {string} photo_uuid
 * @property {Blob} blob
 * @property {boolean} isEarlier it belongs to an earlier record, which keeps it
 */

const MOST_PHOTOS = 4;
const COUNT_WORDS = ["No", "One", "Two", "Three", "Four"];
const NOT_KEPT =
  "This phone has no room to keep the photo when you leave this screen. It is still here: " +
  "save now, or make room on the phone.";

/** @type {Promise<void>} photos being made smaller and kept, of a form just left as well */
let keeping = Promise.resolve();

/** A field for photos of one role. */
export class PhotoField {
  /**
   * @param {App} app
   * @param {{ id: string, label: string, role: Role, most?: number }} given
   */
  constructor(app, { id, label, role, most = MOST_PHOTOS }) {
    this.app = app;
    this.role = role;
    this.label = label;
    this.most = most;
    this.hash = window.location.hash;
    /** @type {Taken[]} */
    this.taken = [];
    this.input = h(
      "input",
      {
        type: "file",
        id,
        accept: "image/*",
        capture: "environment",
        class: "visually-hidden",
        onclick: (/** @type {Event} */ event) => this.refuseMore(event),
        onchange: () => this.take(),
      },
    );
    this.button = h("label", { for: id, class: "button" }, label);
    this.status = h("p", { class: "small soft", role: "status" });
    this.shown = h("div", { class: "taken-photos" });
    this.element = h(
      "div",
      { class: "photo-field" },
      this.input,
      this.button,
      this.status,
      this.shown,
    );
    app.leaving().addEventListener("abort", () => this.letGo());
  }

  /** Take in what the camera gave. */
  take() {
    const [file] = this.input.files ?? [];
    this.input.value = "";
    if (file) {
      this.status.textContent = "Making the photo smaller…";
      keeping = keeping.then(() => this.add(file));
    }
  }

  /**
   * Say that there are as many photos as one record takes, and leave the camera closed.
   *
   * @param {Event} event
   */
  refuseMore(event) {
    if (this.isFull) {
      event.preventDefault();
      this.status.textContent = this.fullWords();
    }
  }

  get isFull() {
    return this.taken.length >= this.most;
  }

  fullWords() {
    const count = COUNT_WORDS[this.most] ?? String(this.most);
    return (
      `${count} photos are the most one record takes here. Leave one out to take another, or ` +
      "save this and take more in another note."
    );
  }

  /** @param {Blob} file */
  async add(file) {
    if (this.isFull) {
      this.status.textContent = `That photo was not taken in. ${this.fullWords()}`;
      return;
    }
    let kept = file;
    this.status.textContent = "";
    try {
      kept = await shrinkPhoto(file);
    } catch {
      // A picture this phone cannot draw is kept as it came; the server tries.
      this.status.textContent = "The photo is kept as the camera made it.";
    }
    const photo_uuid = crypto.randomUUID();
    this.taken.push({ photo_uuid, blob: kept, isEarlier: false });
    this.draw();
    try {
      await this.keep(photo_uuid, kept.type, await kept.arrayBuffer());
    } catch {
      this.status.textContent = NOT_KEPT;
    }
  }

  /**
   * @param {string} photo_uuid
   * @param {string} type
   * @param {ArrayBuffer | null} bytes
   */
  async keep(photo_uuid, type, bytes) {
    await this.app.store.keepDraftPhoto({
      photo_uuid,
      draft: draftKey(this.hash),
      hash: this.hash,
      role: this.role,
      taken_at_ms: this.app.now().getTime(),
      type,
      bytes,
    });
  }

  /**
   * Show the photos of an earlier record that are still on this phone, and those that were
   * taken here before this screen was left.
   *
   * @param {string | null} operation the earlier record's
   */
  async open(operation) {
    await keeping;
    const { store } = this.app;
    const drafts = await store.draftPhotos(draftKey(this.hash));
    const earlier = operation ? await store.operation(operation) : null;
    /** @type {{ photo_uuid: string, role: string }[]} in the order they were taken */
    const recorded = earlier ? contentOf(earlier).photos : [];
    for (const { photo_uuid, role } of recorded) {
      const isHere = role === this.role && !drafts.some((each) => each.photo_uuid === photo_uuid);
      const kept = isHere ? await store.photo(photo_uuid) : null;
      if (kept) {
        this.taken.push({ photo_uuid, blob: kept.blob, isEarlier: true });
      }
    }
    const left = drafts.filter((each) => each.role === this.role && each.bytes);
    for (const { photo_uuid, bytes, type } of left) {
      const blob = new Blob([/** @type {ArrayBuffer} */ (bytes)], { type });
      this.taken.push({ photo_uuid, blob, isEarlier: false });
    }
    this.status.textContent = leftWords(left);
    this.draw();
  }

  /** Return the photos as they are recorded, once all are ready. */
  async photos() {
    await keeping;
    return this.taken.map(({ photo_uuid, blob, isEarlier }) => ({
      // An earlier record keeps its own; one taken here keeps its id, so that it is kept once.
      ...(isEarlier ? {} : { photo_uuid }),
      blob,
      role: this.role,
      caption: "",
    }));
  }

  letGo() {
    for (const image of this.shown.querySelectorAll("img")) {
      URL.revokeObjectURL(image.src);
    }
  }

  draw() {
    this.letGo();
    clear(
      this.shown,
      this.taken.map(({ blob }, at) =>
        h(
          "figure",
          null,
          h(
            "img",
            {
              class: "photo",
              src: URL.createObjectURL(blob),
              alt: `${this.label}: photo ${at + 1}`,
            },
          ),
          h(
            "button",
            {
              type: "button",
              class: "button",
              onclick: () => void this.drop(at),
              "aria-label": `Leave photo ${at + 1} out`,
            },
            "Leave it out",
          ),
        ),
      ),
    );
    this.button.textContent = this.taken.length ? "Take another photo" : this.label;
  }

  /** @param {number} at */
  async drop(at) {
    const [{ photo_uuid, isEarlier }] = this.taken.splice(at, 1);
    this.status.textContent = "";
    this.draw();
    await (isEarlier
      ? this.keep(photo_uuid, "", null)
      : this.app.store.dropDraftPhotos([photo_uuid]));
  }
}

/**
 * Return since when photos wait in a form that was left; "" for none.
 *
 * @param {DraftPhoto[]} left
 * @returns {string}
 */
function leftWords(left) {
  if (left.length === 0) {
    return "";
  }
  const at = new Date(left[left.length - 1].taken_at_ms);
  const day = dayWords(deviceDay(at));
  return left.length === 1
    ? `Taken here on ${day} at ${clockTime(at)} and not saved yet.`
    : `${left.length} photos taken here and not saved yet, the last on ${day} at ${clockTime(at)}.`;
}
