/**
 * Recording an action: it is given its id, number, time, person and hash, and is on the disk
 * before anybody says that it is saved.
 *
 * @module
 */
import { deviceMoment } from "./clock.js";
import { SequenceTakenError } from "./store.js";

/** @typedef {import("./types.js").Ref} Ref */
/** @typedef {import("./types.js").StoredOperation} StoredOperation */
/** @typedef {import("./types.js").NewPhoto} NewPhoto */
/** @typedef {import("./store.js").Store} Store */
/** @typedef {{ store: Store, version: string, queue?: { wake: () => void } }} Recorder the part of the app that recording needs */

/**
 * What a screen asks to be recorded.
 *
 * @typedef {object} Action
 * @property {string} kind
 * @property {Record<string, any>} payload
 * @property {Ref | string | null} [sign] what it is about; a string is a key such as "position:5"
 * @property {string[]} [needs] uuids of operations it depends on
 * @property {string | null} [replaces] the refused one it puts right
 * @property {string} [baseVersion] of what it changes, as the phone knew it
 * @property {import("./types.js").Identified | null} [identified]
 * @property {{ blob: Blob, role: "seen" | "before" | "after", caption?: string }[]} [photos]
 */

/** Nobody has signed in on this phone yet: there is no name to record under. */
export class NobodyError extends Error {
  constructor() {
    super(
      "Nobody has signed in on this phone yet, so there is no name to record this under. Sign " +
        "in once while there is signal; from then on it works without.",
    );
    this.name = "NobodyError";
  }
}

/** The address is not secure: the browser gives no hashes, and keeps nothing for offline. */
export class NotSecureError extends Error {
  constructor() {
    super(
      "This address is not secure (it does not begin with https), so the phone cannot record " +
        "safely. Open the app by its https address; your engineer knows it.",
    );
    this.name = "NotSecureError";
  }
}

/** It could not be stored: what was typed is here, to be saved again or kept as a file. */
export class NotSavedError extends Error {
  /**
   * @param {Error} cause
   * @param {StoredOperation} operation
   * @param {NewPhoto[]} photos
   * @param {() => Promise<StoredOperation>} again saves it under the same id, so never twice
   */
  constructor(cause, operation, photos, again) {
    super(cause.message);
    this.name = "NotSavedError";
    this.cause = cause;
    this.operation = operation;
    this.photos = photos;
    this.again = again;
  }
}

/**
 * Return the key under which operations about a record are found.
 *
 * @param {Ref | string | null | undefined} subject
 */
export function signKey(subject) {
  if (!subject) {
    return "";
  }
  if (typeof subject === "string") {
    return subject;
  }
  return "id" in subject ? `sign:${subject.id}` : `operation:${subject.operation}`;
}

/**
 * Return the SHA-256 of bytes in hexadecimal.
 *
 * @param {BufferSource} bytes
 */
export async function sha256Hex(bytes) {
  const digest = await crypto.subtle.digest("SHA-256", bytes);
  return [...new Uint8Array(digest)].map((each) => each.toString(16).padStart(2, "0")).join("");
}

/**
 * Record an action; resolves once it is on the disk with its photos, and only then.
 *
 * @param {Recorder} app
 * @param {Action} action
 * @returns {Promise<StoredOperation>}
 * @throws {NotSecureError} on an address without https
 * @throws {NobodyError} before anybody signed in on this phone
 * @throws {NotSavedError} with the operation in it, when it could not be stored
 */
export async function recordAction(app, action) {
  if (globalThis.isSecureContext === false) {
    throw new NotSecureError();
  }
  const person = await app.store.setting("person");
  if (!person) {
    throw new NobodyError();
  }
  const photos = await Promise.all((action.photos ?? []).map(describePhoto));
  const parts = { uuid: crypto.randomUUID(), at: new Date(), userId: person.id, photos };
  return save(app, (sequence) => makeOperation(app, action, { ...parts, sequence }), photos);
}

/**
 * @param {Recorder} app
 * @param {(sequence: number) => Promise<StoredOperation>} make
 * @param {NewPhoto[]} photos
 * @returns {Promise<StoredOperation>}
 */
async function save(app, make, photos) {
  for (;;) {
    const operation = await make(await app.store.nextSequence());
    try {
      await app.store.record(operation, photos);
    } catch (error) {
      if (error instanceof SequenceTakenError) {
        continue;
      }
      if (!(error instanceof Error)) {
        throw error;
      }
      throw new NotSavedError(error, operation, photos, () => save(app, make, photos));
    }
    app.queue?.wake();
    return operation;
  }
}

/**
 * @param {{ photo_uuid?: string, blob: Blob, role: string, caption?: string }} taken
 * @returns {Promise<NewPhoto>}
 */
async function describePhoto({ photo_uuid = crypto.randomUUID(), blob, role, caption = "" }) {
  const bytes = await blob.arrayBuffer();
  return {
    photo_uuid,
    operation: "",
    sha256: await sha256Hex(bytes),
    size_bytes: bytes.byteLength,
    type: blob.type,
    role,
    caption,
    state: "waiting",
    sent_bytes: 0,
    sentence: "",
    is_here: true,
    bytes,
  };
}

/**
 * @param {Recorder} app
 * @param {Action} action
 * @param {{ uuid: string, at: Date, userId: number, photos: NewPhoto[], sequence: number }} parts
 * @returns {Promise<StoredOperation>}
 */
async function makeOperation(app, action, { uuid, at, userId, photos, sequence }) {
  const needs = action.needs ?? [];
  const replaces = action.replaces ?? null;
  for (const photo of photos) {
    photo.operation = uuid;
  }
  const content = JSON.stringify({
    client_uuid: uuid,
    sequence,
    kind: action.kind,
    ...deviceMoment(at),
    user_id: userId,
    app_version: app.version,
    base_version: action.baseVersion ?? "",
    needs,
    replaces,
    identified: action.identified ?? null,
    photos: photos.map(({ photo_uuid, sha256, size_bytes, role, caption }) => ({
      photo_uuid,
      sha256,
      size_bytes,
      role,
      caption,
    })),
    payload: action.payload,
  });
  return {
    client_uuid: uuid,
    sequence,
    kind: action.kind,
    content,
    sha256: await sha256Hex(new TextEncoder().encode(content)),
    recorded_at_ms: at.getTime(),
    user_id: userId,
    sign_key: signKey(action.sign),
    needs,
    replaces,
    state: "waiting",
    answer: null,
    tries: 0,
    replaced_by: null,
    acknowledged_at_ms: null,
  };
}
