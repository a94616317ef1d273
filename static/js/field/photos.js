/**
 * Sending photos: after their operation, in pieces that go on where they were cut, each photo by
 * itself.
 *
 * @module
 */
import {
  PHOTO_LOCK,
  PHOTO_PIECE_BYTES,
  PHOTO_TIMEOUT_MS,
  PHOTO_UPLOADS_ADDRESS,
} from "./constants.js";

/** @typedef {import("./types.js").StoredPhoto} StoredPhoto */
/** @typedef {import("./queue.js").Sender} Sender */
/** @typedef {{ received_bytes: number, size_bytes: number, state: string, sentence?: string }} Upload */

/**
 * Send the photos of operations the server has; return how many it has whole now.
 *
 * @param {Sender} app
 * @returns {Promise<{ stored: number, left: number }>}
 */
export async function sendPhotos(app) {
  const work = () => sendEach(app);
  return navigator.locks ? navigator.locks.request(PHOTO_LOCK, work) : work();
}

/** @param {Sender} app */
async function sendEach(app) {
  const device = await app.store.setting("device");
  const photos = device ? await app.store.photosToSend() : [];
  let stored = 0;
  for (const photo of photos) {
    try {
      stored += Number(await sendOne(app, device, photo));
    } catch (error) {
      if (error instanceof Error && ["StorageFullError", "StorageBrokenError"].includes(error.name)) {
        throw error;
      }
      // Cut: this one goes on later, and the others do not wait for it.
    }
  }
  return { stored, left: photos.length - stored };
}

/**
 * @param {Sender} app
 * @param {import("./types.js").DeviceSetting} device
 * @param {StoredPhoto} photo
 * @returns {Promise<boolean>} whether the server has it whole
 */
async function sendOne(app, device, photo) {
  const kept = await app.store.photo(photo.photo_uuid);
  if (!kept) {
    return false;
  }
  let upload = await ask(app, device, photo.photo_uuid, { method: "GET" });
  while (upload && upload.state === "announced") {
    const first = upload.received_bytes;
    const piece = kept.blob.slice(first, first + PHOTO_PIECE_BYTES);
    const range = `bytes ${first}-${first + piece.size - 1}/${photo.size_bytes}`;
    upload = await ask(app, device, photo.photo_uuid, {
      method: "PUT",
      body: piece,
      headers: { "Content-Type": "application/octet-stream", "Content-Range": range },
    });
    if (!upload || (upload.state === "announced" && upload.received_bytes <= first)) {
      return false;
    }
    await app.store.setPhotoProgress(photo.photo_uuid, { sent_bytes: upload.received_bytes });
  }
  if (upload?.state === "stored") {
    const sent_bytes = photo.size_bytes;
    await app.store.setPhotoProgress(photo.photo_uuid, { state: "stored", sent_bytes });
    return true;
  }
  if (upload && upload.state !== "announced") {
    // Refused, or looked at and set aside by an engineer: it is not sent again.
    const sentence = upload.sentence ?? "";
    await app.store.setPhotoProgress(photo.photo_uuid, { state: "refused", sentence });
  }
  return false;
}

/**
 * Ask about a photo, or send a piece of it; null when the server cannot take it now.
 *
 * @param {Sender} app
 * @param {import("./types.js").DeviceSetting} device
 * @param {string} uuid
 * @param {RequestInit} request
 * @returns {Promise<Upload | null>}
 */
async function ask(app, device, uuid, request) {
  const response = await (app.fetch ?? fetch)(`${PHOTO_UPLOADS_ADDRESS}${uuid}`, {
    ...request,
    headers: {
      ...request.headers,
      Authorization: `Device ${device.device_uuid}:${device.key}`,
    },
    credentials: "omit",
    cache: "no-store",
    signal: AbortSignal.timeout(PHOTO_TIMEOUT_MS),
  });
  const isPiece = request.method === "PUT";
  if (response.ok || (isPiece && response.status === 409)) {
    // 409: the piece begins elsewhere than the server is; its answer says where to go on.
    const answer = await response.json();
    return "received_bytes" in answer ? answer : null;
  }
  return null;
}
