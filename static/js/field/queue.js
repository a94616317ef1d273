/**
 * What waits to be sent: in batches, in order, by one tab or the worker at a time, with back-off;
 * nothing leaves the queue until the server has answered for it.
 *
 * @module
 */
import {
  ASK_MOST,
  BACK_OFF_FIRST_MS,
  BACK_OFF_MOST_MS,
  BATCH_LEAST_OPERATIONS,
  BATCH_MOST_BYTES,
  BATCH_MOST_OPERATIONS,
  NEWS_EVERY_MS,
  OPERATIONS_ADDRESS,
  SEND_LOCK,
  SEND_TIMEOUT_MS,
  SYNC_TAG,
  TIDY_EVERY_MS,
  UNREAD,
} from "./constants.js";
import { sendPhotos } from "./photos.js";
import { StorageBrokenError, StorageFullError } from "./store.js";

export { exportOutbox } from "./outbox_file.js";

/** @typedef {import("./store.js").Store} Store */
/** @typedef {import("./types.js").StoredOperation} StoredOperation */
/** @typedef {import("./types.js").ServerAnswer} ServerAnswer */

/**
 * The part of the app that sending needs; the worker makes one of its own.
 *
 * @typedef {{ store: Store, version: string, fetch?: typeof fetch }} Sender
 */

/**
 * How a sending ended: `done` nothing that may go is left; `waits` something can still be undone
 * until next_at_ms; `offline` no answer; `busy` the server asks to come back later; `not_known`
 * the server does not know this phone's key; `no_device` nobody has signed in yet; `full` the
 * phone has no room for the answers; `broken` the phone's storage cannot be read.
 *
 * @typedef {object} Outcome
 * @property {"done" | "waits" | "offline" | "busy" | "not_known" | "no_device" | "full" | "broken"} state
 * @property {string} sentence "" when there is nothing to say
 * @property {number} settled how many answers came
 * @property {number | null} next_at_ms
 * @property {number | null} skew_s server's clock minus the phone's
 */

/**
 * `isHurried` does not wait until it cannot be undone. `isCheckIn` speaks to the server though
 * nothing waits: only so does a phone learn that a backup was restored there, and that what it
 * keeps is to be offered again.
 *
 * @typedef {{ isHurried?: boolean, isCheckIn?: boolean }} SendOptions
 */

/** @type {Record<string, string>} */
const SENTENCES = {
  offline: "No answer from the server. Everything is kept on this phone and is sent later.",
  busy: "The server is busy. Everything is kept on this phone and is sent later.",
  not_known:
    "The server does not know this phone any more. Everything is kept on this phone: sign in " +
    "again, or give the exported file to the engineer.",
  no_device: "Nobody has signed in on this phone yet. Everything is kept on this phone.",
  full: "This phone has no room left for the server's answers. Make room; nothing is lost.",
};

/**
 * Send everything that waits and ask for news of what is held or refused. One sender at a time
 * per phone: another tab's or the worker's is waited for.
 *
 * @param {Sender} app
 * @param {SendOptions} [options]
 * @returns {Promise<Outcome>}
 */
export async function sendWaiting(app, { isHurried = false, isCheckIn = false } = {}) {
  const outcome = await alone(SEND_LOCK, () => sendAll(app, isHurried, isCheckIn)).catch(asOutcome);
  return { ...outcome, sentence: outcome.sentence || (SENTENCES[outcome.state] ?? "") };
}

/**
 * Do some work while no other tab or worker does the same.
 *
 * @template T
 * @param {string} name
 * @param {() => Promise<T>} work
 * @returns {Promise<T>}
 */
async function alone(name, work) {
  // A browser without locks may send twice at once: the server applies each once all the same.
  return navigator.locks ? navigator.locks.request(name, work) : work();
}

/** @type {Readonly<Outcome>} */
const NOTHING_YET = { state: "done", sentence: "", settled: 0, next_at_ms: null, skew_s: null };

/**
 * Return what a failure of the phone's own storage means; any other is nobody's plan.
 *
 * @param {unknown} error
 * @returns {Outcome}
 */
function asOutcome(error) {
  if (error instanceof StorageFullError) {
    return { ...NOTHING_YET, state: "full" };
  }
  if (error instanceof StorageBrokenError || error instanceof DOMException) {
    return { ...NOTHING_YET, state: "broken", sentence: error.message };
  }
  throw error;
}

/**
 * @param {Sender} app
 * @param {boolean} isHurried
 * @param {boolean} isCheckIn
 * @returns {Promise<Outcome>}
 */
async function sendAll(app, isHurried, isCheckIn) {
  const device = await app.store.setting("device");
  const outcome = { ...NOTHING_YET };
  if (!device) {
    return { ...outcome, state: "no_device" };
  }
  let most = BATCH_MOST_OPERATIONS;
  let ask = await app.store.toAsk(ASK_MOST);
  // A phone that was never answered keeps nothing that could be offered again.
  let isOwed = isCheckIn && Boolean(await app.store.setting("last_acknowledged"));
  for (;;) {
    const { batch: waiting, next_at_ms } = await app.store.toSend({
      most,
      most_bytes: BATCH_MOST_BYTES,
      now_ms: Date.now(),
      is_hurried: isHurried,
    });
    const batch = waiting.slice(0, sizeAfter(waiting[0]?.tries ?? 0));
    if (batch.length === 0 && ask.length === 0 && !isOwed) {
      return { ...outcome, state: next_at_ms === null ? "done" : "waits", next_at_ms };
    }
    const answer = await sendBatch(app, device, batch, ask);
    if ("tooMuch" in answer && batch.length > 1) {
      // One that the server cannot read must not keep the others: halve until it is alone.
      most = Math.floor(batch.length / 2);
      continue;
    }
    if ("tooMuch" in answer) {
      const empty = batch.length > 0 ? await sendBatch(app, device, [], []) : answer;
      if ("tooMuch" in empty || "state" in empty) {
        // Not this operation: the server cannot read what is around it.
        return { ...outcome, state: "busy", sentence: answer.sentence };
      }
      await refuseAlone(app.store, batch, answer);
      continue;
    }
    if ("state" in answer) {
      if (answer.state === "not_known") {
        // After the next sign-in the phone introduces itself again (device.js).
        await app.store.setSetting("is_device_in_doubt", true);
      }
      return { ...outcome, ...answer };
    }
    const settled = await takeAnswers(app.store, answer, ask);
    outcome.settled += settled.count;
    outcome.skew_s = answer.skew_s;
    ask = [];
    isOwed = false;
    most = BATCH_MOST_OPERATIONS;
    if (batch.length > 0 && settled.count === 0 && !settled.isNewEpoch) {
      return { ...outcome, state: "busy" };
    }
  }
}

/**
 * @param {Store} store
 * @param {{ epoch: string, server_time: string, answers: ServerAnswer[], news: ServerAnswer[] }} answer
 * @param {string[]} asked
 */
async function takeAnswers(store, { epoch, server_time, answers, news }, asked) {
  const server_ms = Date.parse(server_time);
  const told = new Set(news.map((each) => each.client_uuid));
  // It answered these once and knows nothing of them now: a backup was restored there.
  const forgotten = asked.filter((uuid) => !told.has(uuid));
  const from = { epoch, server_ms, forgotten };
  const outcome = await store.setAnswers([...news, ...answers], from);
  const tidied_ms = (await store.setting("tidied_at_ms")) ?? 0;
  if (Math.abs(server_ms - tidied_ms) >= TIDY_EVERY_MS) {
    await store.dropOldAcknowledged(server_ms);
    await store.setSetting("tidied_at_ms", server_ms);
  }
  return { count: outcome.settled, isNewEpoch: outcome.is_new_epoch };
}

/**
 * @param {Sender} app
 * @param {import("./types.js").DeviceSetting} device
 * @param {StoredOperation[]} batch
 * @param {string[]} ask
 * @returns {Promise<{ epoch: string, server_time: string, skew_s: number, answers: ServerAnswer[], news: ServerAnswer[] } | Pick<Outcome, "state" | "sentence"> | { tooMuch: true, code: string, sentence: string }>}
 */
async function sendBatch(app, device, batch, ask) {
  await app.store.markSent(batch.map((operation) => operation.client_uuid));
  const last = await app.store.setting("last_acknowledged");
  const request = {
    app_version: app.version,
    sent_at: new Date().toISOString(),
    epoch: await app.store.setting("epoch"),
    last_acknowledged: last && { client_uuid: last.client_uuid, sha256: last.sha256 },
    operations: batch.map(({ client_uuid, sha256, content }) => ({ client_uuid, sha256, content })),
    ask,
  };
  const { body, headers } = await packed(JSON.stringify(request));
  /** @type {Response} */
  let response;
  try {
    response = await (app.fetch ?? fetch)(OPERATIONS_ADDRESS, {
      method: "POST",
      body,
      headers: { ...headers, Authorization: `Device ${device.device_uuid}:${device.key}` },
      credentials: "omit",
      cache: "no-store",
      signal: AbortSignal.timeout(SEND_TIMEOUT_MS),
    });
    if (response.ok) {
      const answer = await response.json();
      return { answers: [], news: [], skew_s: null, ...answer };
    }
  } catch {
    // Cut before or in the answer: the server may have applied it, and says so next time.
    return { state: "offline", sentence: "" };
  }
  const error = await errorOf(response);
  if (response.status === 401 || response.status === 403) {
    return { state: "not_known", sentence: error.sentence };
  }
  // A body that was damaged on the way says nothing of what is in it: the same goes again.
  if ([400, 413, 422].includes(response.status) && error.code !== "damaged") {
    return { tooMuch: true, ...error };
  }
  return { state: "busy", sentence: "" };
}

/**
 * Note that the server cannot read an operation: it stays here for a person to put right.
 *
 * @param {Store} store
 * @param {StoredOperation[]} batch of one
 * @param {{ sentence: string }} why
 */
async function refuseAlone(store, batch, { sentence }) {
  const answers = batch.map(({ client_uuid }) => ({
    client_uuid,
    answer: "refused",
    code: UNREAD,
    sentence,
  }));
  await store.setAnswers(answers, { epoch: null, server_ms: Date.now() });
}

/**
 * @param {Response} response
 * @returns {Promise<{ code: string, sentence: string }>}
 */
async function errorOf(response) {
  try {
    const { error } = await response.json();
    return { code: error?.code ?? "", sentence: error?.message ?? "" };
  } catch {
    return { code: "", sentence: "" };
  }
}

/**
 * Return a text to send, gzipped where the browser can.
 *
 * @param {string} text
 * @returns {Promise<{ body: BodyInit, headers: Record<string, string> }>}
 */
async function packed(text) {
  const headers = { "Content-Type": "application/json" };
  if (typeof CompressionStream === "undefined") {
    return { body: text, headers };
  }
  const stream = new Blob([text]).stream().pipeThrough(new CompressionStream("gzip"));
  return {
    body: await new Response(stream).arrayBuffer(),
    headers: { ...headers, "Content-Encoding": "gzip" },
  };
}

/**
 * Return how many operations go into a batch whose first one was tried so often.
 *
 * @param {number} tries
 */
function sizeAfter(tries) {
  return Math.max(BATCH_LEAST_OPERATIONS, Math.floor(BATCH_MOST_OPERATIONS / 2 ** tries));
}

/**
 * Return how long to wait after so many failures: doubled each time, anywhere in its half.
 *
 * @param {number} failures from 1
 * @param {() => number} [random] 0 to 1
 */
export function backOffMs(failures, random = Math.random) {
  const whole = Math.min(BACK_OFF_MOST_MS, BACK_OFF_FIRST_MS * 2 ** (failures - 1));
  return whole / 2 + (random() * whole) / 2;
}

/** Sends in the background of a page, and tells the page how it went. */
export class Queue extends EventTarget {
  /** @param {Sender} app */
  constructor(app) {
    super();
    this.app = app;
    this.failures = 0;
    /** @type {Outcome | null} how the last sending ended */
    this.outcome = null;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
    /** @type {Promise<Outcome> | null} */
    this.sending = null;
    /** @type {Promise<void>} */
    this.photos = Promise.resolve();
    this.isWanted = false;
    this.isStopped = false;
  }

  /** Something was recorded: send soon, and with the page closed too. */
  wake() {
    void this.send();
    void askForSync();
  }

  /** The app was opened, or signal came back: send, and hear whether the server is the same. */
  checkIn() {
    void this.send({ isCheckIn: true });
    void askForSync();
  }

  /**
   * Send now ("Try now": also what could still be undone).
   *
   * @param {SendOptions} [options]
   * @returns {Promise<Outcome>}
   */
  async send(options = {}) {
    if (this.sending && options.isHurried) {
      await this.sending;
      return this.send(options);
    }
    if (this.sending) {
      // What was recorded meanwhile goes after it.
      this.isWanted = true;
      return this.sending;
    }
    clearTimeout(this.timer);
    this.sending = sendWaiting(this.app, options);
    try {
      this.outcome = await this.sending;
    } finally {
      this.sending = null;
    }
    this.dispatchEvent(new Event("outcome"));
    if (this.outcome.state === "done" || this.outcome.state === "waits") {
      this.failures = 0;
      this.photos = this.sendPhotos();
    } else {
      this.failures += 1;
    }
    this.plan(this.outcome);
    return this.outcome;
  }

  /** Photos go by themselves: no operation ever waits for one. */
  async sendPhotos() {
    try {
      await sendPhotos(this.app);
    } catch (error) {
      this.outcome = asOutcome(error);
      this.dispatchEvent(new Event("outcome"));
    }
  }

  /** @param {Outcome} outcome */
  plan(outcome) {
    if (this.isStopped) {
      return;
    }
    const isWanted = this.isWanted;
    this.isWanted = false;
    if (isWanted && this.failures === 0) {
      void this.send();
      return;
    }
    let wait_ms = this.failures > 0 ? backOffMs(this.failures) : NEWS_EVERY_MS;
    if (outcome.next_at_ms !== null) {
      wait_ms = Math.min(wait_ms, Math.max(0, outcome.next_at_ms - Date.now()));
    }
    this.timer = setTimeout(() => void this.send({ isCheckIn: true }), wait_ms);
  }

  /** Stop, once what is under way has ended. */
  async stop() {
    this.isStopped = true;
    clearTimeout(this.timer);
    await this.sending;
    await this.photos;
  }
}

/**
 * Start sending in the background of a page: now, when there is signal again, and when the page
 * comes to the front.
 *
 * @param {Sender & { connection?: EventTarget }} app
 * @returns {Queue}
 */
export function startQueue(app) {
  const queue = new Queue(app);
  app.connection?.addEventListener("online", () => queue.checkIn());
  if (typeof document !== "undefined") {
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible") {
        queue.checkIn();
      }
    });
  }
  queue.checkIn();
  return queue;
}

/** Ask the browser to wake the worker when there is signal, where it can. */
async function askForSync() {
  try {
    const registration = await navigator.serviceWorker?.getRegistration();
    // Not in every browser, and not in TypeScript's list of what browsers have.
    await /** @type {any} */ (registration)?.sync?.register(SYNC_TAG);
  } catch {
    // Not allowed here: sent when the app is open.
  }
}
