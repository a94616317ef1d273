/**
 * The phone's database: its schema, the steps from each version to the next, and writing to it
 * so that what is said to be stored is on the disk. Part of store.js, as its neighbours are.
 *
 * @module
 */
import { openDB } from "idb";

import { CHANNEL_NAME, DATABASE_NAME } from "./constants.js";

/** @typedef {import("idb").IDBPDatabase<any>} Database */
/** @typedef {import("idb").IDBPTransaction<any, string[], "readwrite">} Writing */
/** @typedef {import("idb").IDBPTransaction<any, string[], "versionchange">} Upgrading */

/** The phone has no room left; nothing of what was to be stored is. */
export class StorageFullError extends Error {
  constructor() {
    super(
      "This phone has no room left, so this was not saved. What you typed is still on the " +
        "screen: keep it as a file, or make room on the phone and save again.",
    );
    this.name = "StorageFullError";
  }
}

/** The phone's database cannot be written or read for another reason. */
export class StorageBrokenError extends Error {
  /** @param {unknown} cause */
  constructor(cause) {
    const why = cause instanceof Error ? cause.message || cause.name : String(cause);
    super(
      `This was not saved: the phone's storage refused it (${why}). What you typed is still ` +
        "on the screen: keep it as a file, close the app, open it and try again.",
    );
    this.name = "StorageBrokenError";
    this.cause = cause;
  }
}

/** Another tab recorded something in between; the operation needs the next number. */
export class SequenceTakenError extends Error {
  constructor() {
    super("Another tab recorded something at the same moment.");
    this.name = "SequenceTakenError";
  }
}

/**
 * Each step makes a database of one version into the next; a new phone takes all of them.
 * A step that has landed is never edited: phones have gone through it.
 *
 * @type {((database: Database, upgrading: Upgrading) => void | Promise<void>)[]}
 */
const STEPS = [
  function outbox(database) {
    const operations = database.createObjectStore("operations", { keyPath: "client_uuid" });
    operations.createIndex("by_sequence", "sequence");
    operations.createIndex("by_state", ["state", "sequence"]);
    const photos = database.createObjectStore("photos", { keyPath: "photo_uuid" });
    photos.createIndex("by_operation", "operation");
    photos.createIndex("by_state", "state");
    database.createObjectStore("photo_bytes");
    database.createObjectStore("settings");
  },
  function carriedWork(database, upgrading) {
    upgrading.objectStore("operations").createIndex("by_sign", ["sign_key", "sequence"]);
    const supports = database.createObjectStore("supports", { keyPath: "id" });
    supports.createIndex("by_latitude", "latitude_deg");
    supports.createIndex("by_area", "areas", { multiEntry: true });
    supports.createIndex("by_word", "words", { multiEntry: true });
    const positions = database.createObjectStore("positions", { keyPath: "id" });
    positions.createIndex("by_support", "support_id");
    positions.createIndex("by_area", "areas", { multiEntry: true });
    const signs = database.createObjectStore("signs", { keyPath: "id" });
    signs.createIndex("by_area", "areas", { multiEntry: true });
    signs.createIndex("by_label", "label_key");
    signs.createIndex("by_word", "words", { multiEntry: true });
    const stops = database.createObjectStore("stops", { keyPath: "id" });
    stops.createIndex("by_package", ["package_id", "number"]);
    stops.createIndex("by_area", "areas", { multiEntry: true });
    const roads = database.createObjectStore("roads", { keyPath: "id" });
    roads.createIndex("by_area", "areas", { multiEntry: true });
    const faces = database.createObjectStore("faces", { keyPath: "id" });
    faces.createIndex("by_label", "label_key");
    for (const name of ["areas", "plans", "drawings", "pictures"]) {
      database.createObjectStore(name, name === "areas" ? { keyPath: "id" } : undefined);
    }
  },
  function photosOfForms(database) {
    const photos = database.createObjectStore("draft_photos", { keyPath: "photo_uuid" });
    photos.createIndex("by_draft", ["draft", "taken_at_ms"]);
  },
];
export const SCHEMA_VERSION = STEPS.length;

/**
 * Open the database, made or brought up to a version step by step, with what is in it.
 *
 * @param {{ name: string, version: number, onOutdated: () => void }} options
 * @returns {Promise<Database>}
 */
async function openDatabase({ name, version, onOutdated }) {
  const database = await openDB(name, version, {
    async upgrade(opened, oldVersion, newVersion, transaction) {
      for (const step of STEPS.slice(oldVersion, newVersion ?? version)) {
        await step(opened, transaction);
      }
    },
    blocking() {
      // A newer version of the app waits in another tab; it must not wait for this one.
      database.close();
      onOutdated();
    },
    terminated: onOutdated,
  });
  return database;
}

/**
 * Return an error of the browser's storage in our words; any other as it is.
 *
 * @param {unknown} error
 * @returns {unknown}
 */
function inOurWords(error) {
  if (error instanceof Error || error instanceof DOMException) {
    if (error.name === "QuotaExceededError") {
      return new StorageFullError();
    }
    if (error instanceof DOMException) {
      return new StorageBrokenError(error);
    }
  }
  return error;
}

/** An open database, and who wants to know when it changes. */
export class StoreBase {
  /** @param {Database} database */
  constructor(database) {
    this.database = database;
    /** Another tab holds a newer version, or the browser closed the database: nothing is saved. */
    this.isOutdated = false;
    /** @type {Map<string, any>} settings as they were last read here */
    this.seen = new Map();
    /** @type {Set<() => void>} */
    this.listeners = new Set();
    this.channel = new BroadcastChannel(CHANNEL_NAME);
    this.channel.addEventListener("message", () => this.tell());
  }

  /**
   * Do some writing as one transaction. Resolves once it is on the disk; on an error nothing
   * of it is.
   *
   * @template T
   * @param {string[]} names of the object stores
   * @param {(writing: Writing) => Promise<T>} work
   * @returns {Promise<T>}
   */
  async write(names, work) {
    /** @type {Writing} */
    let writing;
    try {
      writing = this.database.transaction(names, "readwrite", { durability: "strict" });
    } catch (error) {
      throw inOurWords(error);
    }
    // Seen below when the work itself does not fail first.
    writing.done.catch(() => undefined);
    try {
      const answer = await work(writing);
      await writing.done;
      return answer;
    } catch (error) {
      try {
        writing.abort();
      } catch {
        // It ended by itself: that is the error at hand.
      }
      throw inOurWords(writing.error ?? error);
    }
  }

  /**
   * Call a function after every change of the outbox, in this tab, another or the worker.
   *
   * @param {() => void} listener
   * @returns {() => void} stops it
   */
  onChange(listener) {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  tell() {
    for (const listener of this.listeners) {
      listener();
    }
  }

  changed() {
    this.tell();
    this.channel.postMessage("changed");
  }

  /**
   * @param {string} key
   * @returns {Promise<any>} null when it was never set
   */
  async setting(key) {
    if (this.isOutdated) {
      // Enough to put what was typed into a file, under the right name.
      return this.seen.get(key) ?? null;
    }
    const value = (await this.database.get("settings", key)) ?? null;
    this.seen.set(key, value);
    return value;
  }

  /**
   * @param {string} key
   * @param {unknown} value
   */
  async setSetting(key, value) {
    await this.setSettings({ [key]: value });
  }

  /** @param {Record<string, unknown>} values all of them or none */
  async setSettings(values) {
    await this.write(["settings"], (writing) =>
      Promise.all(
        Object.entries(values).map(([key, value]) =>
          writing.objectStore("settings").put(value, key),
        ),
      ),
    );
    this.changed();
  }

  close() {
    this.channel.close();
    this.database.close();
  }
}

/**
 * Return an open store of a class.
 *
 * @template {StoreBase} T
 * @param {new (database: Database) => T} Kind
 * @param {{ name?: string, version?: number }} options an older version only to test the steps
 * @returns {Promise<T>}
 */
export async function openStoreOf(Kind, { name = DATABASE_NAME, version = SCHEMA_VERSION } = {}) {
  /** @type {T | undefined} */
  let store;
  const onOutdated = () => {
    if (store) {
      store.isOutdated = true;
      store.tell();
    }
  };
  try {
    store = new Kind(await openDatabase({ name, version, onOutdated }));
  } catch (error) {
    throw inOurWords(error);
  }
  return store;
}
