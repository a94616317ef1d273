/**
 * The phone's own database (IndexedDB): what was recorded here and what is carried. Nothing
 * else touches it; the parts are store_base.js (schema, upgrades, writing), store_outbox.js with
 * store_answers.js, and store_carried.js.
 *
 * @module
 */
import { openStoreOf, SCHEMA_VERSION } from "./store_base.js";
import { CarriedStore } from "./store_carried.js";

export {
  SCHEMA_VERSION,
  SequenceTakenError,
  StorageBrokenError,
  StorageFullError,
} from "./store_base.js";

/** Everything the phone keeps. */
export class Store extends CarriedStore {}

/**
 * Open the phone's database, made or brought up to date with what is in it.
 *
 * @param {{ name?: string, version?: number }} [options]
 * @returns {Promise<Store>}
 */
export async function openStore(options = {}) {
  return openStoreOf(Store, { version: SCHEMA_VERSION, ...options });
}
