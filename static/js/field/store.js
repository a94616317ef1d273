/**
 * The phone's own database (IndexedDB): what was recorded here and what is carried. Nothing
 * else touches it; the parts are store_base.js (schema, upgrades, writing), store_outbox.js with
 * store_answers.js, store_carried.js and store_drafts.js.
 *
 * @module
 */
import { openStoreOf, SCHEMA_VERSION } from "./store_base.js";
import { DraftStore } from "./store_drafts.js";

export {
  SCHEMA_VERSION,
  SequenceTakenError,
  StorageBrokenError,
  StorageFullError,
} from "./store_base.js";

/** Everything the phone keeps. */
export class Store extends DraftStore {}

/**
 * Open the phone's database, made or brought up to date with what is in it.
 *
 * @param {{ name?: string, version?: number }} [options]
 * @returns {Promise<Store>}
 */
export async function openStore(options = {}) {
  return openStoreOf(Store, { version: SCHEMA_VERSION, ...options });
}
