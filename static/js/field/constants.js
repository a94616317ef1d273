/**
 * Keys, limits and timeouts of the field app; a name ends in its unit.
 *
 * @module
 */

export const DATABASE_NAME = "signfleet-field";
export const CHANNEL_NAME = "signfleet-field";
export const SEND_LOCK = "signfleet-send";
export const PHOTO_LOCK = "signfleet-photos";
export const SYNC_TAG = "signfleet-send";

export const FIELD_ADDRESS = "/field/";
export const WORKER_ADDRESS = "/field/worker.js";
export const OPERATIONS_ADDRESS = "/api/v1/operations";
export const PING_ADDRESS = "/api/v1/operations/ping";
export const DEVICES_ADDRESS = "/api/v1/devices/";
export const DEVICES_ME_ADDRESS = "/api/v1/devices/me/";
export const PHOTO_UPLOADS_ADDRESS = "/api/v1/photo-uploads/";

/** What is recorded can be undone for so long; until then it is not sent. */
export const UNDO_S = 10;

export const BATCH_MOST_OPERATIONS = 200;
/** On a line that cuts batches they get smaller, down to so many. */
export const BATCH_LEAST_OPERATIONS = 10;
export const BATCH_MOST_BYTES = 2_000_000;
export const ASK_MOST = 500;
/** The phone's own code for what the server cannot read, so that no batch with it is taken. */
export const UNREAD = "unread";
export const SEND_TIMEOUT_MS = 60_000;

export const BACK_OFF_FIRST_MS = 2_000;
export const BACK_OFF_MOST_MS = 300_000;
/** With nothing waiting, news of what is held or refused is asked for so often. */
export const NEWS_EVERY_MS = 300_000;

export const PING_TIMEOUT_MS = 8_000;
export const PING_EVERY_MS = 30_000;
export const SKEW_SHOWN_S = 300;

export const PHOTO_PIECE_BYTES = 262_144;
export const PHOTO_TIMEOUT_MS = 60_000;

export const KEPT_DAYS = 30;
export const DAY_MS = 86_400_000;
export const TIDY_EVERY_MS = 3_600_000;

export const SEARCH_MOST = 50;

/** A photo is kept at most so long a side, as a JPEG of this quality. */
export const LONGEST_PHOTO_SIDE_PX = 2560;
export const PHOTO_QUALITY = 0.85;

/** A support is placed by the fixes of so many seconds. */
export const FIXES_S = 15;
