/**
 * The room the phone gives, and its promise not to clear it.
 *
 * @module
 */

/**
 * `is_persisted` null: this browser does not say.
 *
 * @typedef {{ is_persisted: boolean | null, used_bytes: number | null, quota_bytes: number | null }} Space
 */

/** @returns {Promise<Space>} */
export async function seeSpace() {
  const storage = navigator.storage;
  const estimate = await storage?.estimate?.();
  return {
    is_persisted: (await storage?.persisted?.()) ?? null,
    used_bytes: estimate?.usage ?? null,
    quota_bytes: estimate?.quota ?? null,
  };
}

/**
 * Ask the browser never to clear what is kept here; return whether it agreed.
 *
 * @returns {Promise<boolean | null>} null when it cannot be asked
 */
export async function askToPersist() {
  const storage = navigator.storage;
  if (!storage?.persist) {
    return null;
  }
  return (await storage.persisted()) || storage.persist();
}

/**
 * Return what to show of it.
 *
 * @param {Space} space
 */
export function spaceWords({ is_persisted, used_bytes, quota_bytes }) {
  const kept =
    is_persisted === true
      ? "The phone keeps this app's records until you remove them."
      : "The phone may clear this app's records when it runs short of room. Put the app on the " +
        "home screen, and send what waits whenever there is signal.";
  if (used_bytes === null || quota_bytes === null) {
    return kept;
  }
  return `${kept} ${megabytes(used_bytes)} of ${megabytes(quota_bytes)} MB are used.`;
}

/** @param {number} bytes */
function megabytes(bytes) {
  return (bytes / 1_000_000).toLocaleString("en-GB", { maximumFractionDigits: 1 });
}
