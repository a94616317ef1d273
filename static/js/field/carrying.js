/**
 * Taking signs along while there is signal: the lists, an area page by page, its small photos.
 *
 * @module
 */

const BASICS_ADDRESS = "/api/v1/field/basics";
const SIGNS_ADDRESS = "/api/v1/field/signs";
const STOCK_ADDRESS = "/api/v1/field/stock";
const PHOTOS_ADDRESS = "/api/v1/field/photos";
const TIMEOUT_MS = 60_000;
/** So many small photos are asked for at a time. */
const PHOTOS_AT_ONCE = 4;
const DEGREE_DECIMALS = 6;

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./types.js").Area} Area */
/** @typedef {import("./types.js").Box} Box */
/** @typedef {Pick<Area, "id" | "title" | "kind" | "package_id" | "box">} Wanted */
/** @typedef {(words: string, share: number) => unknown} OnProgress share from 0 to 1 */

/** The server did not give what was asked for; the message says what to do. */
export class CarryError extends Error {
  /**
   * @param {string} sentence
   * @param {boolean} [isSignedOut]
   */
  constructor(sentence, isSignedOut = false) {
    super(sentence);
    this.name = "CarryError";
    this.isSignedOut = isSignedOut;
  }
}

/**
 * Fetch the lists and the rules, and keep them; those of another organisation than the phone
 * records for are left where they are.
 *
 * @param {App} app
 * @returns {Promise<void>}
 */
export async function takeBasics(app) {
  const basics = await askJson(BASICS_ADDRESS);
  const own = await app.store.setting("organisation");
  if (own && own.id !== basics.organisation.id) {
    throw new CarryError(
      `This phone records for ${own.name}, and you are signed in for ${basics.organisation.name}. ` +
        "Sign in for the first, or use another phone.",
    );
  }
  await app.store.putBasics(basics);
  await app.refreshBasics();
}

/**
 * Fetch an area with all that belongs to it, and keep it; cut off, what came is kept.
 *
 * @param {App} app
 * @param {Wanted} wanted
 * @param {OnProgress} onProgress
 * @param {AbortSignal} [signal] stops after the page in hand
 * @returns {Promise<Area>}
 */
export async function takeArea(app, wanted, onProgress, signal) {
  onProgress("Fetching the lists", 0);
  await takeBasics(app);
  const query = queryOf(wanted);
  const area = await app.store.putArea(
    { ...wanted, taken_at_ms: app.now().getTime() },
    pagesOf(SIGNS_ADDRESS, query, signal),
    (page, pages) => onProgress(`Signs: part ${page} of ${pages}`, (0.8 * page) / pages),
  );
  onProgress("Faces in stock", 0.8);
  await app.store.putStock(pagesOf(STOCK_ADDRESS, new URLSearchParams(), signal));
  await takePictures(app, area.id, onProgress, signal);
  onProgress("All of it is on this phone", 1);
  return area;
}

/**
 * @param {Wanted} wanted
 * @returns {URLSearchParams}
 */
function queryOf({ package_id, box }) {
  const query = new URLSearchParams();
  if (package_id !== null) {
    query.set("package", String(package_id));
  } else if (box !== null) {
    for (const [edge, value] of Object.entries(box)) {
      query.set(edge, value.toFixed(DEGREE_DECIMALS));
    }
  }
  return query;
}

/**
 * @param {string} address
 * @param {URLSearchParams} query
 * @param {AbortSignal | undefined} signal
 * @returns {AsyncGenerator<Record<string, any>>}
 */
async function* pagesOf(address, query, signal) {
  for (let page = 1, pages = 1; page <= pages; page += 1) {
    if (signal?.aborted) {
      throw new CarryError("Stopped. What came before is kept; take it along again for the rest.");
    }
    query.set("page", String(page));
    const answer = await askJson(`${address}?${query}`);
    pages = answer.pages;
    yield answer;
  }
}

/**
 * Fetch the small photos that are not here yet; one that fails is fetched the next time.
 *
 * @param {App} app
 * @param {string} areaId
 * @param {OnProgress} onProgress
 * @param {AbortSignal | undefined} signal
 */
async function takePictures(app, areaId, onProgress, signal) {
  const missing = await app.store.picturesMissing(areaId);
  let done = 0;
  while (done < missing.length && !signal?.aborted) {
    const some = missing.slice(done, done + PHOTOS_AT_ONCE);
    await Promise.all(some.map((id) => takePicture(app, id)));
    done += some.length;
    onProgress(`Photos: ${done} of ${missing.length}`, 0.85 + (0.15 * done) / missing.length);
  }
}

/**
 * @param {App} app
 * @param {number} id
 */
async function takePicture(app, id) {
  const answer = await ask(`${PHOTOS_ADDRESS}/${id}/small`);
  await app.store.putPicture(id, await answer.blob());
}

/**
 * @param {string} address
 * @returns {Promise<Record<string, any>>}
 */
async function askJson(address) {
  return (await ask(address)).json();
}

/**
 * @param {string} address
 * @returns {Promise<Response>}
 */
async function ask(address) {
  /** @type {Response} */
  let answer;
  try {
    answer = await fetch(address, {
      headers: { Accept: "application/json, image/*" },
      credentials: "same-origin",
      cache: "no-store",
      signal: AbortSignal.timeout(TIMEOUT_MS),
    });
  } catch {
    throw new CarryError(
      "The server did not answer. What this phone carries already stays; try again with signal.",
    );
  }
  if (answer.ok) {
    return answer;
  }
  if (answer.status === 401 || answer.status === 403) {
    throw new CarryError(
      "Sign in first: signs are handed only to somebody who is signed in.",
      true,
    );
  }
  const { error } = await answer.json().catch(() => ({ error: null }));
  throw new CarryError(
    error?.message ?? `The server could not hand out the signs (${answer.status}); try again.`,
  );
}
