/**
 * What the phone recorded: operations, their photos, and the server's answers. Part of store.js.
 *
 * @module
 */
import { DAY_MS, KEPT_DAYS, UNDO_S } from "./constants.js";
import {
  discardedBy,
  isAsked,
  isOpen,
  offerAgain,
  ON_ITS_WAY,
  photosOfLive,
  settle,
} from "./store_answers.js";
import { SequenceTakenError, StorageFullError, StoreBase } from "./store_base.js";

/** @typedef {import("./types.js").StoredOperation} StoredOperation */
/** @typedef {import("./types.js").StoredPhoto} StoredPhoto */
/** @typedef {import("./types.js").NewPhoto} NewPhoto */
/** @typedef {import("./types.js").OperationState} OperationState */
/** @typedef {import("./types.js").ServerAnswer} ServerAnswer */
/** @typedef {import("./store_base.js").Writing} Writing */

const LAST_SEQUENCE = "last_sequence";
const EPOCH = "epoch";

/**
 * Return every key of an index that begins with one value.
 *
 * @param {string} first
 * @param {number} [before] the second value stays below this
 */
function startingWith(first, before) {
  return IDBKeyRange.bound([first], [first, before ?? []], false, true);
}

export class OutboxStore extends StoreBase {
  /** Return the number the next operation takes. */
  async nextSequence() {
    return ((await this.setting(LAST_SEQUENCE)) ?? 0) + 1;
  }

  /**
   * Store an operation with its photos and its number, all or nothing; resolves once it is on
   * the disk. When the phone is full, photos the server already has make room first.
   *
   * @param {StoredOperation} operation
   * @param {NewPhoto[]} photos
   * @throws {SequenceTakenError} when its number is no longer the next one
   * @throws {StorageFullError} when there is no room even so
   */
  async record(operation, photos) {
    try {
      await this.putRecord(operation, photos);
    } catch (error) {
      if (!(error instanceof StorageFullError) || !(await this.makeRoom())) {
        throw error;
      }
      await this.putRecord(operation, photos);
    }
    this.changed();
  }

  /**
   * @param {StoredOperation} operation
   * @param {NewPhoto[]} photos
   */
  async putRecord(operation, photos) {
    await this.write(["operations", "photos", "photo_bytes", "settings"], async (writing) => {
      const settings = writing.objectStore("settings");
      if (operation.sequence !== ((await settings.get(LAST_SEQUENCE)) ?? 0) + 1) {
        throw new SequenceTakenError();
      }
      await Promise.all([
        settings.put(operation.sequence, LAST_SEQUENCE),
        writing.objectStore("operations").add(operation),
        ...photos.map(({ bytes: _bytes, ...photo }) => writing.objectStore("photos").add(photo)),
        ...photos.map(({ bytes, photo_uuid }) =>
          writing.objectStore("photo_bytes").add(bytes, photo_uuid),
        ),
      ]);
      const replaced = operation.replaces ?? discardedBy(operation);
      const old = replaced && (await writing.objectStore("operations").get(replaced));
      if (old) {
        await writing
          .objectStore("operations")
          .put({ ...old, replaced_by: operation.client_uuid });
      }
    });
  }

  /**
   * Take back what was recorded and never tried; true when it was, and it is never sent.
   * False when it was tried, or when another one that waits needs it.
   *
   * @param {string} uuid
   * @param {string} reason
   * @returns {Promise<boolean>}
   */
  async withdraw(uuid, reason) {
    const isBack = await this.write(["operations"], async (writing) => {
      const operations = writing.objectStore("operations");
      /** @type {StoredOperation | undefined} */
      const operation = await operations.get(uuid);
      if (operation?.state !== "waiting" || operation.tries > 0) {
        return false;
      }
      /** @type {StoredOperation[]} */
      const waiting = await operations.index("by_state").getAll(startingWith("waiting"));
      if (waiting.some((other) => other.needs.includes(uuid))) {
        return false;
      }
      await operations.put({ ...operation, state: "withdrawn", withdrawn_reason: reason });
      const replaced = operation.replaces ?? discardedBy(operation);
      const old = replaced && (await operations.get(replaced));
      if (old?.replaced_by === uuid) {
        await operations.put({ ...old, replaced_by: null });
      }
      return true;
    });
    this.changed();
    return isBack;
  }

  /**
   * @param {string} uuid
   * @returns {Promise<StoredOperation | null>}
   */
  async operation(uuid) {
    return (await this.database.get("operations", uuid)) ?? null;
  }

  /**
   * Return operations, the newest first.
   *
   * @param {{ states?: readonly OperationState[], sign?: string, limit?: number, before?: number }} wanted
   *   `sign` is a sign key; `before` the sequence number of the last one of the page before
   * @returns {Promise<StoredOperation[]>}
   */
  async operations({ states, sign, limit = 50, before } = {}) {
    const reading = this.database.transaction("operations");
    const index = reading.store.index(sign === undefined ? "by_sequence" : "by_sign");
    const below = before === undefined ? null : IDBKeyRange.upperBound(before, true);
    const range = sign === undefined ? below : startingWith(sign, before);
    /** @type {StoredOperation[]} */
    const found = [];
    let cursor = await index.openCursor(range, "prev");
    while (cursor && found.length < limit) {
      if (!states || states.includes(cursor.value.state)) {
        found.push(cursor.value);
      }
      cursor = await cursor.continue();
    }
    return found;
  }

  /** Return how many operations wait, are held or are refused and open, and photos to send. */
  async counts() {
    const reading = this.database.transaction(["operations", "photos"]);
    const byState = reading.objectStore("operations").index("by_state");
    const [waiting, sent, held, refused, photos] = await Promise.all([
      byState.count(startingWith("waiting")),
      byState.count(startingWith("sent")),
      byState.getAll(startingWith("held")),
      byState.getAll(startingWith("refused")),
      photosOfLive(reading, ["waiting"]),
    ]);
    return {
      waiting: waiting + sent,
      held: held.filter(isOpen).length,
      refused: refused.filter(isOpen).length,
      photos: photos.length,
    };
  }

  /**
   * Return the next operations to send, in their order, and when the first that can still be
   * undone may go.
   *
   * @param {{ most: number, most_bytes: number, now_ms: number, is_hurried?: boolean }} wanted
   * @returns {Promise<{ batch: StoredOperation[], next_at_ms: number | null }>}
   */
  async toSend({ most, most_bytes, now_ms, is_hurried = false }) {
    const reading = this.database.transaction("operations");
    const index = reading.store.index("by_state");
    /** @type {StoredOperation[]} */
    const found = (
      await Promise.all(
        ON_ITS_WAY.map((state) => index.getAll(startingWith(state), most + UNDO_S)),
      )
    ).flat();
    found.sort((a, b) => a.sequence - b.sequence);
    /** @type {StoredOperation[]} */
    const batch = [];
    let bytes = 0;
    for (const operation of found) {
      const age_ms = now_ms - operation.recorded_at_ms;
      // A clock that was put back must not hold it for longer.
      if (!is_hurried && operation.tries === 0 && age_ms >= 0 && age_ms < UNDO_S * 1000) {
        // Those after it wait as well: an order is kept.
        return { batch, next_at_ms: operation.recorded_at_ms + UNDO_S * 1000 };
      }
      bytes += operation.content.length;
      if (batch.length === most || (batch.length > 0 && bytes > most_bytes)) {
        break;
      }
      batch.push(operation);
    }
    return { batch, next_at_ms: null };
  }

  /**
   * Note that operations go into a batch; from here on the server may have them.
   *
   * @param {string[]} uuids
   */
  async markSent(uuids) {
    await this.write(["operations"], async (writing) => {
      const operations = writing.objectStore("operations");
      for (const uuid of uuids) {
        /** @type {StoredOperation | undefined} */
        const operation = await operations.get(uuid);
        if (operation && ON_ITS_WAY.includes(operation.state)) {
          await operations.put({ ...operation, state: "sent", tries: operation.tries + 1 });
        }
      }
    });
  }

  /**
   * Return the uuids of what is held or refused and not settled, the newest first; not of what
   * the server never stored under its id.
   *
   * @param {number} most
   */
  async toAsk(most) {
    const open = await this.operations({ states: ["held", "refused"], limit: most });
    return open.filter(isAsked).map((operation) => operation.client_uuid);
  }

  /**
   * Store the server's answers. When its epoch is another than the one before, a backup was
   * restored there: everything kept here is offered again. So is what it was asked for and does
   * not know, though it had answered it once.
   *
   * @param {ServerAnswer[]} answers
   * @param {{ epoch: string | null, server_ms: number, forgotten?: string[] }} from
   * @returns {Promise<{ is_new_epoch: boolean, settled: number }>}
   */
  async setAnswers(answers, { epoch, server_ms, forgotten = [] }) {
    const outcome = await this.write(["operations", "photos", "settings"], async (writing) => {
      const settings = writing.objectStore("settings");
      const known = await settings.get(EPOCH);
      const isNewEpoch = Boolean(known && epoch && known !== epoch);
      if (isNewEpoch) {
        await offerAgain(writing, new Set(answers.map((answer) => answer.client_uuid)));
      }
      if (epoch) {
        await settings.put(epoch, EPOCH);
      }
      const operations = writing.objectStore("operations");
      for (const uuid of forgotten) {
        const operation = await operations.get(uuid);
        if (operation && isAsked(operation)) {
          await operations.put({ ...operation, state: "waiting" });
        }
      }
      let settled = 0;
      for (const answer of answers) {
        settled += Number(await settle(writing, answer, server_ms));
      }
      return { is_new_epoch: isNewEpoch, settled };
    });
    this.changed();
    return outcome;
  }

  /**
   * Return a photo with its bytes, or null when they are no longer here.
   *
   * @param {string} uuid
   * @returns {Promise<(StoredPhoto & { blob: Blob }) | null>}
   */
  async photo(uuid) {
    const reading = this.database.transaction(["photos", "photo_bytes"]);
    const [photo, bytes] = await Promise.all([
      reading.objectStore("photos").get(uuid),
      reading.objectStore("photo_bytes").get(uuid),
    ]);
    return photo && bytes ? { ...photo, blob: new Blob([bytes], { type: photo.type }) } : null;
  }

  /**
   * @param {string} operation
   * @returns {Promise<StoredPhoto[]>}
   */
  async photosOf(operation) {
    return this.database.getAllFromIndex("photos", "by_operation", operation);
  }

  /** Return the photos the server does not have, with the bytes here. */
  async photosNotStored() {
    const reading = this.database.transaction(["operations", "photos"]);
    return (await photosOfLive(reading, ["waiting", "refused"])).map(({ photo }) => photo);
  }

  /** Return the photos whose operation the server has, and which it does not have yet. */
  async photosToSend() {
    const reading = this.database.transaction(["operations", "photos"]);
    return (await photosOfLive(reading, ["waiting"]))
      .filter(({ operation }) => !ON_ITS_WAY.includes(operation.state))
      .map(({ photo }) => photo);
  }

  /**
   * @param {string} uuid
   * @param {Partial<Pick<StoredPhoto, "sent_bytes" | "state" | "sentence">>} progress
   */
  async setPhotoProgress(uuid, progress) {
    await this.write(["photos"], async (writing) => {
      const photos = writing.objectStore("photos");
      const photo = await photos.get(uuid);
      if (photo) {
        await photos.put({ ...photo, ...progress });
      }
    });
    this.changed();
  }

  /**
   * Drop what the server acknowledged or settled longer than 30 days ago, with its photos.
   *
   * @param {number} now_ms by the server's clock: the phone's may be a year out
   * @returns {Promise<number>} how many were dropped
   */
  async dropOldAcknowledged(now_ms) {
    const bound = now_ms - KEPT_DAYS * DAY_MS;
    const names = ["operations", "photos", "photo_bytes"];
    return this.write(names, async (writing) => {
      let dropped = 0;
      let cursor = await writing.objectStore("operations").openCursor();
      while (cursor) {
        /** @type {StoredOperation} */
        const operation = cursor.value;
        const photos = await writing
          .objectStore("photos")
          .index("by_operation")
          .getAll(operation.client_uuid);
        const isDone =
          operation.acknowledged_at_ms !== null &&
          operation.acknowledged_at_ms < bound &&
          !ON_ITS_WAY.includes(operation.state) &&
          !(["held", "refused"].includes(operation.state) && isOpen(operation)) &&
          !(
            operation.state === "acknowledged" &&
            photos.some((photo) => photo.state === "waiting" && photo.is_here)
          );
        if (isDone) {
          dropped += 1;
          await cursor.delete();
          for (const photo of photos) {
            await writing.objectStore("photos").delete(photo.photo_uuid);
            await writing.objectStore("photo_bytes").delete(photo.photo_uuid);
          }
        }
        cursor = await cursor.continue();
      }
      return dropped;
    });
  }

  /** Let go of the bytes of photos the server has; return whether there were any. */
  async makeRoom() {
    return this.write(["photos", "photo_bytes"], async (writing) => {
      const photos = writing.objectStore("photos");
      /** @type {StoredPhoto[]} */
      const stored = (await photos.index("by_state").getAll("stored")).filter(
        (photo) => photo.is_here,
      );
      for (const photo of stored) {
        await writing.objectStore("photo_bytes").delete(photo.photo_uuid);
        await photos.put({ ...photo, is_here: false });
      }
      return stored.length > 0;
    });
  }

  /** Return what an export holds: every operation that is not settled, oldest first. */
  async unsettled() {
    const all = await this.operations({
      states: ["waiting", "sent", "held", "refused"],
      limit: Infinity,
    });
    return all.reverse();
  }
}
