/**
 * Photos of forms that were left before they were saved. Part of store.js.
 *
 * @module
 */
import { StorageFullError } from "./store_base.js";
import { CarriedStore } from "./store_carried.js";

/** @typedef {import("./types.js").DraftPhoto} DraftPhoto */

const NAMES = ["draft_photos"];

export class DraftStore extends CarriedStore {
  /**
   * Keep a photo of a form that is not saved yet, or that one of an earlier record is left out
   * of it (no bytes). When the phone is full, photos the server already has make room first.
   *
   * @param {DraftPhoto} photo
   * @throws {StorageFullError} when there is no room even so
   */
  async keepDraftPhoto(photo) {
    const put = () =>
      this.write(NAMES, (writing) => writing.objectStore("draft_photos").put(photo));
    try {
      await put();
    } catch (error) {
      if (!(error instanceof StorageFullError) || !(await this.makeRoom())) {
        throw error;
      }
      await put();
    }
  }

  /**
   * Return the photos of a form that are not recorded yet, in the order they were taken, and
   * which photos of an earlier record it leaves out.
   *
   * @param {string} draft
   * @returns {Promise<DraftPhoto[]>}
   */
  async draftPhotos(draft) {
    const reading = this.database.transaction([...NAMES, "photos"]);
    /** @type {DraftPhoto[]} */
    const kept = await reading
      .objectStore("draft_photos")
      .index("by_draft")
      .getAll(IDBKeyRange.bound([draft], [draft, []]));
    const recorded = await Promise.all(
      kept.map(({ photo_uuid }) => reading.objectStore("photos").count(photo_uuid)),
    );
    return kept.filter(({ bytes }, at) => !bytes || recorded[at] === 0);
  }

  /**
   * Let go of photos of forms: they are saved, or the person took them out.
   *
   * @param {string[]} uuids
   */
  async dropDraftPhotos(uuids) {
    await this.write(NAMES, (writing) =>
      Promise.all(uuids.map((uuid) => writing.objectStore("draft_photos").delete(uuid))),
    );
  }

  /**
   * Return the forms that hold photos and were not saved, the one left last first.
   *
   * @returns {Promise<{ hash: string, taken_at_ms: number, count: number }[]>}
   */
  async formsWithPhotos() {
    /** @type {Map<string, { hash: string, taken_at_ms: number, count: number }>} */
    const forms = new Map();
    const reading = this.database.transaction([...NAMES, "photos"]);
    let cursor = await reading.objectStore("draft_photos").index("by_draft").openCursor();
    while (cursor) {
      /** @type {DraftPhoto} */
      const { photo_uuid, draft, hash, taken_at_ms, bytes } = cursor.value;
      if (bytes && (await reading.objectStore("photos").count(photo_uuid)) === 0) {
        forms.set(draft, { hash, taken_at_ms, count: (forms.get(draft)?.count ?? 0) + 1 });
      }
      cursor = await cursor.continue();
    }
    return [...forms.values()].sort((a, b) => b.taken_at_ms - a.taken_at_ms);
  }
}
