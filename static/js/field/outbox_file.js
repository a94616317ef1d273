/**
 * The way out of last resort: what waits, as a file that `manage.py import_outbox` applies.
 *
 * @module
 */

/** @typedef {import("./store.js").Store} Store */
/** @typedef {import("./types.js").WireOperation} WireOperation */
/** @typedef {import("./types.js").NewPhoto} NewPhoto */

const FORMAT = "signfleet outbox";
const FORMAT_VERSION = 1;
const SLICE = 0x8000;

/**
 * Return everything that is not settled, with its photos, as a file.
 *
 * @param {Store} store
 * @returns {Promise<Blob>}
 */
export async function exportOutbox(store) {
  const operations = await store.unsettled();
  /** @type {string[]} */
  const parts = [];
  const owners = new Set(operations.map((operation) => operation.client_uuid));
  for (const photo of await store.photosNotStored()) {
    const kept = await store.photo(photo.photo_uuid);
    if (kept) {
      parts.push(photoJson(photo.photo_uuid, new Uint8Array(await kept.blob.arrayBuffer())));
    }
    owners.add(photo.operation);
  }
  // A photo may be left of an operation the server has: it goes along, and is applied already.
  const also = await Promise.all(
    [...owners]
      .filter((uuid) => !operations.some((operation) => operation.client_uuid === uuid))
      .map((uuid) => store.operation(uuid)),
  );
  const all = [...operations, ...also.filter((operation) => operation !== null)];
  all.sort((a, b) => a.sequence - b.sequence);
  return outboxFile((await store.setting("device"))?.device_uuid ?? null, all, parts);
}

/**
 * Return one operation that could not be saved, with its photos, as a file of the same form.
 *
 * @param {Store} store
 * @param {{ operation: WireOperation, photos: NewPhoto[] }} unsaved
 * @returns {Promise<Blob>}
 */
export async function exportUnsaved(store, { operation, photos }) {
  const parts = photos.map((photo) => photoJson(photo.photo_uuid, new Uint8Array(photo.bytes)));
  const device = await store.setting("device");
  return outboxFile(device?.device_uuid ?? null, [operation], parts);
}

/**
 * Offer a file to the person: it lands among the phone's downloads.
 *
 * @param {Blob} file
 * @param {string} name
 */
export function offerFile(file, name) {
  const address = URL.createObjectURL(file);
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}

/**
 * Return a name for an outbox file that tells phones and moments apart.
 *
 * @param {string | null} deviceUuid
 * @param {Date} [at]
 */
export function outboxName(deviceUuid, at = new Date()) {
  const moment = at.toISOString().slice(0, 19).replace(/[-:]/gu, "");
  return `signfleet-outbox-${(deviceUuid ?? "phone").slice(0, 8)}-${moment}.json`;
}

/**
 * @param {string | null} deviceUuid
 * @param {WireOperation[]} operations
 * @param {string[]} photoParts
 */
function outboxFile(deviceUuid, operations, photoParts) {
  const wire = operations.map(({ client_uuid, sha256, content }) => ({
    client_uuid,
    sha256,
    content,
  }));
  const head = JSON.stringify({
    format: FORMAT,
    version: FORMAT_VERSION,
    device_uuid: deviceUuid,
    operations: wire,
  });
  // In parts: a phone cannot hold a day's photos in one text.
  const photos = photoParts.flatMap((part, at) => (at === 0 ? [part] : [",\n", part]));
  return new Blob([head.slice(0, -1), ',"photos":[', ...photos, "]}"], {
    type: "application/json",
  });
}

/**
 * @param {string} uuid
 * @param {Uint8Array} bytes
 */
function photoJson(uuid, bytes) {
  let text = "";
  for (let at = 0; at < bytes.length; at += SLICE) {
    text += String.fromCharCode(...bytes.subarray(at, at + SLICE));
  }
  return JSON.stringify({ photo_uuid: uuid, base64: btoa(text) });
}
