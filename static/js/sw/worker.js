/**
 * The field app's service worker: keeps the shell of one version, and sends what waits when the
 * browser wakes it. Its version and its list of files are put before this script by the server.
 *
 * @module
 */
import { PrecacheController } from "workbox-precaching/PrecacheController.js";

import { FIELD_ADDRESS, SYNC_TAG } from "../field/constants.js";
import { sendPhotos } from "../field/photos.js";
import { sendWaiting } from "../field/queue.js";
import { openStore } from "../field/store.js";

/**
 * What this worker uses of its global scope; TypeScript's list of it clashes with the page's.
 *
 * @typedef {object} Scope
 * @property {{ version: string, files: { url: string, revision: string | null }[] }} SIGNFLEET
 * @property {{ claim: () => Promise<void> }} clients
 * @property {() => Promise<void>} skipWaiting
 * @property {(type: string, listener: (event: any) => void) => void} addEventListener
 */

const scope = /** @type {Scope} */ (/** @type {unknown} */ (self));
const { version, files } = scope.SIGNFLEET;

const CACHE_PREFIX = "signfleet-field-";
const CACHE_NAME = CACHE_PREFIX + version;
const shell = new PrecacheController({ cacheName: CACHE_NAME });
shell.addToCacheList(files);

/** Take over what another version has already and is the same in this one. */
async function takeWhatIsHere() {
  const cache = await caches.open(CACHE_NAME);
  for (const { url, revision } of files) {
    const key = shell.getCacheKeyForURL(url);
    const known = revision && key ? await caches.match(key) : undefined;
    if (key && known) {
      await cache.put(key, known);
    }
  }
}

async function dropOtherVersions() {
  for (const name of await caches.keys()) {
    if (name.startsWith(CACHE_PREFIX) && name !== CACHE_NAME) {
      await caches.delete(name);
    }
  }
}

scope.addEventListener("install", (event) => {
  // It waits then, until the person says that it may take over.
  event.waitUntil(takeWhatIsHere().then(() => shell.install(event)));
});

scope.addEventListener("activate", (event) => {
  event.waitUntil(dropOtherVersions().then(() => scope.clients.claim()));
});

/** Aborted when a newer version is to take over: it must not wait for a long sending here. */
const leaving = new AbortController();

scope.addEventListener("message", (event) => {
  if (event.data?.type === "take_over") {
    event.waitUntil(scope.skipWaiting());
  } else if (event.data?.type === "make_way") {
    leaving.abort();
  }
});

scope.addEventListener("fetch", (event) => {
  /** @type {Request} */
  const request = event.request;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) {
    return;
  }
  // One shell for the field page, whatever its query; nothing else is ever kept.
  const isShell = request.mode === "navigate" && url.pathname === FIELD_ADDRESS;
  const key = shell.getCacheKeyForURL(isShell ? FIELD_ADDRESS : url.href);
  if (key) {
    event.respondWith(answer(key, request));
  }
});

/**
 * @param {string} key
 * @param {Request} request
 */
async function answer(key, request) {
  const cache = await caches.open(CACHE_NAME);
  return (await cache.match(key)) ?? fetch(request);
}

scope.addEventListener("sync", (event) => {
  if (event.tag === SYNC_TAG) {
    event.waitUntil(sendEverything());
  }
});

/**
 * Ask the server, until this version has to make way.
 *
 * @type {typeof fetch}
 */
function ask(address, request) {
  const { signal } = request ?? {};
  const signals = [leaving.signal, ...(signal ? [signal] : [])];
  return fetch(address, { ...request, signal: AbortSignal.any(signals) });
}

/** Send what waits and its photos; an error makes the browser try again later. */
async function sendEverything() {
  const store = await openStore();
  const sender = { store, version, fetch: ask };
  try {
    let outcome = await sendWaiting(sender);
    while (outcome.state === "waits" && outcome.next_at_ms !== null && !leaving.signal.aborted) {
      await pause(outcome.next_at_ms - Date.now());
      outcome = await sendWaiting(sender);
    }
    if (outcome.state === "done") {
      await sendPhotos(sender);
    }
    if (["waits", "offline", "busy"].includes(outcome.state)) {
      throw new Error(outcome.sentence || "The rest goes later.");
    }
  } finally {
    store.close();
  }
}

/**
 * Wait for a time, or until this version has to make way.
 *
 * @param {number} wait_ms
 */
function pause(wait_ms) {
  return new Promise((resolve) => {
    setTimeout(resolve, Math.max(0, wait_ms));
    leaving.signal.addEventListener("abort", resolve);
  });
}
