/** A phone for tests: a database of its own, somebody signed in, and a server to talk to. */
import "fake-indexeddb/auto";

import { createHash, randomUUID } from "node:crypto";
import { gunzipSync } from "node:zlib";

import { recordAction } from "../../../static/js/field/operations.js";
import { openStore } from "../../../static/js/field/store.js";

export const DEVICE = { device_uuid: randomUUID(), key: "k".repeat(43), name: "test phone" };
export const PERSON = { id: 5, name: "Ada Brook" };

/** A phone whose store is closed when the test ends. */
export async function makePhone(test, { name = `phone-${randomUUID()}`, version } = {}) {
  const store = await openStore(version ? { name, version } : { name });
  test.after(() => store.close());
  await store.setSettings({ device: DEVICE, person: PERSON });
  return { store, version: "abc", name };
}

/** Record some notes on signs; each is a whole operation. */
export async function recordNotes(phone, count, more = {}) {
  const recorded = [];
  for (let n = 1; n <= count; n += 1) {
    const payload = { sign: { id: n }, how: "visual_day", note: `note ${n}` };
    recorded.push(
      await recordAction(phone, { kind: "inspection", payload, sign: { id: n }, ...more }),
    );
  }
  return recorded;
}

export function sha256(text) {
  return createHash("sha256").update(text, "utf8").digest("hex");
}

/**
 * A server that applies each operation once, as the contract says: the same id and hash again is
 * "already applied", another hash is refused. `script` says what happens to a request on the way.
 */
export class FakeServer {
  constructor(script = () => "ok") {
    this.script = script;
    this.epoch = randomUUID();
    this.applied = new Map();
    this.order = [];
    this.times = new Map();
    this.requests = [];
    this.answerTo = () => ({ answer: "applied" });
    this.kept = new Map(); // what is held or refused under its id
    this.fetch = (address, request) => this.take(String(address), request);
  }

  async take(address, request) {
    const text =
      request.headers["Content-Encoding"] === "gzip"
        ? gunzipSync(Buffer.from(request.body)).toString("utf8")
        : request.body;
    const sent = JSON.parse(text);
    this.requests.push({ address, headers: request.headers, sent });
    const fate = this.script(this.requests.length, sent);
    if (fate === "lost on the way") {
      throw new TypeError("network");
    }
    if (fate === "damaged") {
      const error = { error: { code: "damaged", message: "It was cut.", detail: null } };
      return new Response(JSON.stringify(error), { status: 400 });
    }
    if (typeof fate === "number") {
      const error = { error: { code: "invalid", message: `status ${fate}`, detail: null } };
      return new Response(JSON.stringify(error), { status: fate });
    }
    if (fate === "twice") {
      this.apply(sent);
    }
    const answers = this.apply(sent);
    if (fate === "answer lost") {
      throw new TypeError("network");
    }
    if (fate === "answer cut") {
      return new Response('{"epoch": "');
    }
    if (fate === "half the answers, in another order") {
      answers.reverse().splice(Math.ceil(answers.length / 2));
    }
    const news = (sent.ask ?? []).flatMap((uuid) => this.news(uuid));
    return new Response(
      JSON.stringify({
        epoch: this.epoch,
        server_time: new Date().toISOString(),
        skew_s: 0,
        answers,
        news,
      }),
    );
  }

  /** What it says of one that was asked for; nothing of one it does not know. */
  news(uuid) {
    return this.kept.has(uuid) ? [this.kept.get(uuid)] : [];
  }

  apply(sent) {
    return sent.operations.map(({ client_uuid, sha256: hash, content }) => {
      const known = this.applied.get(client_uuid);
      if (known) {
        return known === hash
          ? { client_uuid, answer: "already_applied" }
          : { client_uuid, answer: "refused", code: "other_content", sentence: "Another." };
      }
      if (sha256(content) !== hash) {
        return { client_uuid, answer: "refused", code: "broken", sentence: "Broken." };
      }
      const answer = this.answerTo(JSON.parse(content));
      if (answer.answer !== "applied") {
        this.kept.set(client_uuid, { client_uuid, ...answer });
      }
      if (answer.answer === "applied") {
        this.applied.set(client_uuid, hash);
        this.order.push(client_uuid);
        this.times.set(client_uuid, (this.times.get(client_uuid) ?? 0) + 1);
      }
      return { client_uuid, ...answer };
    });
  }
}

/** A generator of numbers from 0 to 1 that gives the same ones every time (Numerical Recipes). */
export function dice(seed) {
  let state = seed;
  return () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
}
