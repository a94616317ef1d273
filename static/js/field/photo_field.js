/**
 * Taking a photo with the phone's own camera; it is made smaller before it is kept.
 *
 * @module
 */

import { clear, h } from "./dom.js";
import { shrinkPhoto } from "./pictures.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {"seen" | "before" | "after"} Role */
/** @typedef {{ blob: Blob, role: Role, caption: string }} TakenPhoto */

const MOST_PHOTOS = 4;

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
    /** @type {Blob[]} */
    this.blobs = [];
    /** @type {Promise<void>} the photos that are being made smaller */
    this.busy = Promise.resolve();
    this.input = h(
      "input",
      {
        type: "file",
        id,
        accept: "image/*",
        capture: "environment",
        class: "visually-hidden",
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
      this.busy = this.busy.then(() => this.add(file));
    }
  }

  /** @param {Blob} file */
  async add(file) {
    let kept = file;
    this.status.textContent = "";
    try {
      kept = await shrinkPhoto(file);
    } catch {
      // A picture this phone cannot draw is kept as it came; the server tries.
      this.status.textContent = "The photo is kept as the camera made it.";
    }
    this.blobs = [...this.blobs, kept].slice(-this.most);
    this.draw();
  }

  /**
   * Take over the photos of an earlier record that are still on this phone.
   *
   * @param {string} operation
   */
  async takeOver(operation) {
    for (const photo of await this.app.store.photosOf(operation)) {
      const kept = photo.role === this.role ? await this.app.store.photo(photo.photo_uuid) : null;
      if (kept) {
        this.blobs.push(kept.blob);
      }
    }
    this.draw();
  }

  /** Return the photos as they are recorded, once all are ready. */
  async photos() {
    await this.busy;
    return this.blobs.map((blob) => ({ blob, role: this.role, caption: "" }));
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
      this.blobs.map((blob, at) =>
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
              onclick: () => this.drop(at),
              "aria-label": `Leave photo ${at + 1} out`,
            },
            "Leave it out",
          ),
        ),
      ),
    );
    this.button.textContent = this.blobs.length ? "Take another photo" : this.label;
  }

  /** @param {number} at */
  drop(at) {
    this.blobs.splice(at, 1);
    this.draw();
  }
}
