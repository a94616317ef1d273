import assert from "node:assert/strict";
import { randomUUID } from "node:crypto";
import { test } from "node:test";

import { UNDO_S } from "../../static/js/field/constants.js";
import { recordAction } from "../../static/js/field/operations.js";
import { exportOutbox, outboxName } from "../../static/js/field/outbox_file.js";
import { sendPhotos } from "../../static/js/field/photos.js";
import { backOffMs, Queue, sendWaiting } from "../../static/js/field/queue.js";
import { StorageFullError } from "../../static/js/field/store.js";
import { DEVICE, dice, FakeServer, makePhone, recordNotes, sha256 } from "./support/field_phone.js";

const NOTE = { kind: "inspection", payload: { sign: { id: 1 }, how: "visual_day", note: "bent" } };
const HURRIED = { isHurried: true };

async function setUp(t, script) {
  const phone = await makePhone(t);
  const server = new FakeServer(script);
  phone.fetch = server.fetch;
  return { phone, server };
}

const statesOf = async (phone) =>
  (await phone.store.operations({ limit: Infinity })).map((each) => each.state);

test("what waits is sent in order, gzipped, under the phone's key and without cookies", async (t) => {
  const { phone, server } = await setUp(t);
  const made = await recordNotes(phone, 450);
  const outcome = await sendWaiting(phone, HURRIED);
  assert.equal(outcome.state, "done");
  assert.equal(outcome.settled, 450);
  assert.deepEqual(server.order, made.map((each) => each.client_uuid));
  assert.deepEqual(server.requests.map((each) => each.sent.operations.length), [200, 200, 50]);
  const [{ headers, sent }] = server.requests;
  assert.equal(headers["Content-Encoding"], "gzip");
  assert.equal(headers.Authorization, `Device ${DEVICE.device_uuid}:${DEVICE.key}`);
  assert.ok(Math.abs(Date.parse(sent.sent_at) - Date.now()) < 600_000);
  assert.deepEqual(new Set(await statesOf(phone)), new Set(["acknowledged"]));
  const last = server.requests[1].sent.last_acknowledged;
  assert.equal(last.client_uuid, made[199].client_uuid);
  assert.equal(last.sha256, sha256(made[199].content));
});

test("whatever the network does, each is applied once and none is lost", async (t) => {
  const fates = [
    "lost on the way",
    "answer lost",
    "answer cut",
    "twice",
    "half the answers, in another order",
    503,
    429,
    "ok",
    "ok",
  ];
  for (const seed of [1, 2, 3]) {
    const roll = dice(seed);
    const { phone, server } = await setUp(t, () => fates[Math.floor(roll() * fates.length)]);
    const made = await recordNotes(phone, 300);
    let rounds = 0;
    while ((await phone.store.counts()).waiting > 0) {
      await sendWaiting(phone, HURRIED);
      rounds += 1;
      assert.ok(rounds < 500, `seed ${seed}`);
    }
    assert.deepEqual(
      [...server.times.keys()].sort(),
      made.map((each) => each.client_uuid).sort(),
    );
    assert.deepEqual(new Set(server.times.values()), new Set([1]));
  }
});

test("two tabs that send at once send each operation in one batch only", async (t) => {
  const { phone, server } = await setUp(t);
  const other = { ...(await makePhone(t, { name: phone.name })), fetch: server.fetch };
  await recordNotes(phone, 60);
  const outcomes = await Promise.all([sendWaiting(phone, HURRIED), sendWaiting(other, HURRIED)]);
  assert.deepEqual(outcomes.map((each) => each.settled).sort(), [0, 60]);
  const sent = server.requests.flatMap((each) => each.sent.operations.map((o) => o.client_uuid));
  assert.equal(sent.length, 60);
});

test("what can still be undone is not sent yet, nor what was recorded after it", async (t) => {
  const { phone, server } = await setUp(t);
  const [first] = await recordNotes(phone, 2);
  const outcome = await sendWaiting(phone);
  assert.equal(outcome.state, "waits");
  assert.equal(outcome.next_at_ms, first.recorded_at_ms + UNDO_S * 1000);
  assert.equal(server.requests.length, 0);
  await sendWaiting(phone, HURRIED);
  assert.equal(server.order.length, 2);
});

test("a clock put back by a year keeps nothing waiting", async (t) => {
  const { phone, server } = await setUp(t);
  t.mock.timers.enable({ apis: ["Date"], now: Date.UTC(2027, 10, 25) });
  await recordNotes(phone, 2);
  t.mock.timers.setTime(Date.UTC(2026, 10, 25));
  await sendWaiting(phone);
  assert.equal(server.order.length, 2);
  // The times stay as the clock said them; the server is told what it says now.
  const [kept] = await phone.store.operations({ limit: 1 });
  assert.match(JSON.parse(kept.content).device_at, /^2027-11-25/);
  assert.match(server.requests[0].sent.sent_at, /^2026-11-25/);
});

test("a refused and a held one stay, with the server's sentence, and are asked for", async (t) => {
  const { phone, server } = await setUp(t);
  server.answerTo = ({ payload }) =>
    [
      { answer: "refused", code: "unlikely", sentence: "White 4000 is not likely; read again." },
      { answer: "held", code: "conflict", sentence: "Two crews put up a face here." },
      { answer: "applied", result: { inspection_id: 3 } },
    ][payload.sign.id - 1];
  const made = await recordNotes(phone, 3);
  await sendWaiting(phone, HURRIED);
  assert.deepEqual(await statesOf(phone), ["acknowledged", "held", "refused"]);
  const refused = await phone.store.operation(made[0].client_uuid);
  assert.equal(refused.answer.sentence, "White 4000 is not likely; read again.");
  assert.equal((await phone.store.operation(made[2].client_uuid)).answer.result.inspection_id, 3);
  server.kept.set(made[1].client_uuid, { client_uuid: made[1].client_uuid, answer: "applied" });
  await sendWaiting(phone, HURRIED);
  const { sent } = server.requests.at(-1);
  assert.deepEqual(sent.operations, []);
  assert.deepEqual(new Set(sent.ask), new Set([made[0].client_uuid, made[1].client_uuid]));
  assert.deepEqual(await statesOf(phone), ["acknowledged", "acknowledged", "refused"]);
});

test("after a restore at the server everything kept is offered again, once applied once", async (t) => {
  const { phone, server } = await setUp(t);
  await recordNotes(phone, 250);
  await sendWaiting(phone, HURRIED);
  // The backup held the first hundred; the server's epoch is another after it.
  const kept = server.order.slice(0, 100);
  server.applied = new Map(kept.map((uuid) => [uuid, server.applied.get(uuid)]));
  server.times = new Map(kept.map((uuid) => [uuid, 1]));
  server.epoch = randomUUID();
  await recordNotes(phone, 1);
  const before = server.requests.length;
  const outcome = await sendWaiting(phone, HURRIED);
  assert.equal(outcome.state, "done");
  assert.equal(server.times.size, 251);
  assert.deepEqual(new Set(server.times.values()), new Set([1]));
  assert.deepEqual(new Set(await statesOf(phone)), new Set(["acknowledged"]));
  // What the old epoch acknowledged is not claimed under the new one.
  assert.equal(server.requests[before + 1].sent.last_acknowledged.client_uuid, (await phone.store.operations({ limit: 1 }))[0].client_uuid);
  assert.equal(server.requests.at(-1).sent.epoch, server.epoch);
});

test("what was held or refused and is forgotten after a restore is sent again", async (t) => {
  const { phone, server } = await setUp(t);
  server.answerTo = ({ payload }) =>
    payload.sign.id === 1 ? { answer: "held", code: "conflict" } : { answer: "refused", code: "unlikely" };
  const made = await recordNotes(phone, 2);
  await sendWaiting(phone, HURRIED);
  // The restored database knows neither, and its epoch is the one it had.
  server.kept.clear();
  await sendWaiting(phone, HURRIED);
  assert.deepEqual([...server.kept.keys()].sort(), made.map((each) => each.client_uuid).sort());
  assert.deepEqual(await statesOf(phone), ["refused", "held"]);
  // Known again, they are only asked for.
  const before = server.requests.length;
  await sendWaiting(phone, HURRIED);
  assert.deepEqual(server.requests.slice(before).map((each) => each.sent.operations.length), [0]);
});

test("what the server could not read, or has another's id, is not sent for ever", async (t) => {
  const unread = (_n, sent) => (sent.operations.some((each) => each.content.includes("note 1\"")) ? 400 : "ok");
  const { phone, server } = await setUp(t, unread);
  server.answerTo = ({ payload }) => ({
    answer: "refused",
    code: payload.sign.id === 2 ? "other_content" : "broken",
  });
  const [bad, taken, damaged] = await recordNotes(phone, 3);
  for (let n = 0; n < 8; n += 1) {
    server.kept.clear(); // it keeps none of them under its id
    await sendWaiting(phone, HURRIED);
  }
  const tries = async (operation) => (await phone.store.operation(operation.client_uuid)).tries;
  // Once with the others, once more in a batch that was halved; the damaged one goes once again.
  assert.deepEqual([await tries(bad), await tries(taken), await tries(damaged)], [2, 2, 3]);
  assert.equal((await phone.store.counts()).refused, 3);
});

test("a new epoch is seen with nothing to send but something to ask, and photos are offered too", async (t) => {
  const { phone, server } = await setUp(t);
  server.answerTo = ({ payload }) => ({ answer: payload.sign.id === 1 ? "held" : "applied" });
  await recordNotes(phone, 2);
  const pictured = await recordAction(phone, {
    ...NOTE,
    payload: { sign: { id: 9 } },
    photos: [{ blob: new Blob(["p"]), role: "seen" }],
  });
  await sendWaiting(phone, HURRIED);
  const [photo] = await phone.store.photosOf(pictured.client_uuid);
  await phone.store.setPhotoProgress(photo.photo_uuid, { state: "stored", sent_bytes: 1 });
  server.applied.clear();
  server.epoch = randomUUID();
  await sendWaiting(phone, HURRIED);
  assert.equal(server.applied.size, 2);
  assert.deepEqual((await phone.store.photosToSend()).map((each) => each.sent_bytes), [0]);
});

test("one that the server cannot read does not keep the others", async (t) => {
  const { phone, server } = await setUp(t, (_n, sent) =>
    sent.operations.some((each) => each.content.includes("note 7")) ? 400 : "ok",
  );
  await recordNotes(phone, 12);
  const outcome = await sendWaiting(phone, HURRIED);
  assert.equal(outcome.state, "done");
  assert.equal(server.order.length, 11);
  const [bad] = await phone.store.operations({ states: ["refused"] });
  assert.match(bad.content, /note 7/);
  assert.equal(bad.answer.sentence, "status 400");
});

test("a line that cuts every large batch gets smaller ones, until all is through", async (t) => {
  const { phone, server } = await setUp(t, (_n, sent) => (sent.operations.length > 30 ? "lost on the way" : "ok"));
  await recordNotes(phone, 120);
  for (let n = 0; n < 20 && (await phone.store.counts()).waiting > 0; n += 1) {
    await sendWaiting(phone, HURRIED);
  }
  assert.equal(server.order.length, 120);
  assert.ok(server.requests.every((each) => each.sent.operations.length <= 120));
});

test("what is kept for thirty days is looked through once an hour, not at every batch", async (t) => {
  const { phone } = await setUp(t);
  let looked = 0;
  const drop = phone.store.dropOldAcknowledged.bind(phone.store);
  phone.store.dropOldAcknowledged = async (now_ms) => {
    looked += 1;
    return drop(now_ms);
  };
  await recordNotes(phone, 250);
  await sendWaiting(phone, HURRIED);
  assert.equal(looked, 1);
  await phone.store.setSetting("tidied_at_ms", Date.now() - 3_600_001);
  await recordNotes(phone, 1);
  await sendWaiting(phone, HURRIED);
  assert.equal(looked, 2);
});

test("a body damaged on the way makes no operation refused, and the same goes again", async (t) => {
  const { phone, server } = await setUp(t, (number) => (number % 2 === 1 ? "damaged" : "ok"));
  await recordNotes(phone, 1);
  assert.equal((await sendWaiting(phone, HURRIED)).state, "busy");
  assert.deepEqual(await statesOf(phone), ["sent"]);
  assert.equal((await sendWaiting(phone, HURRIED)).state, "done");
  assert.equal(server.applied.size, 1);
});

test("a server that reads no batch at all makes no operation refused", async (t) => {
  const { phone } = await setUp(t, () => 400);
  await recordNotes(phone, 3);
  const outcome = await sendWaiting(phone, HURRIED);
  assert.deepEqual([outcome.state, outcome.sentence], ["busy", "status 400"]);
  assert.equal((await phone.store.counts()).waiting, 3);
});

test("a phone that the server does not know keeps everything and says so", async (t) => {
  const { phone } = await setUp(t, () => 401);
  await recordNotes(phone, 3);
  const outcome = await sendWaiting(phone, HURRIED);
  assert.equal(outcome.state, "not_known");
  assert.ok(outcome.sentence);
  assert.equal((await phone.store.counts()).waiting, 3);
  assert.equal(await phone.store.setting("is_device_in_doubt"), true);
});

test("before the first sign-in nothing is sent anywhere", async (t) => {
  const { phone, server } = await setUp(t);
  await recordNotes(phone, 1);
  await phone.store.setSetting("device", null);
  assert.equal((await sendWaiting(phone, HURRIED)).state, "no_device");
  assert.equal(server.requests.length, 0);
});

test("a phone too full for the answers says so and asks again later", async (t) => {
  const { phone, server } = await setUp(t);
  await recordNotes(phone, 2);
  const { setAnswers } = phone.store;
  phone.store.setAnswers = async () => {
    throw new StorageFullError();
  };
  const full = await sendWaiting(phone, HURRIED);
  assert.deepEqual([full.state, /no room left/.test(full.sentence)], ["full", true]);
  phone.store.setAnswers = setAnswers;
  assert.equal((await sendWaiting(phone, HURRIED)).state, "done");
  assert.deepEqual(new Set(server.times.values()), new Set([1]));
});

test("the wait doubles with each failure up to five minutes, never the same for two phones", () => {
  const least = [1, 2, 3, 20].map((failures) => backOffMs(failures, () => 0));
  const most = [1, 2, 3, 20].map((failures) => backOffMs(failures, () => 1));
  assert.deepEqual(least, [1_000, 2_000, 4_000, 150_000]);
  assert.deepEqual(most, [2_000, 4_000, 8_000, 300_000]);
});

test("what is recorded while a sending runs goes right after it", async (t) => {
  const { phone, server } = await setUp(t);
  const queue = new Queue(phone);
  await recordNotes(phone, 1);
  const first = queue.send(HURRIED);
  await recordNotes(phone, 1);
  await Promise.all([first, queue.send(HURRIED)]);
  await queue.send(HURRIED);
  assert.equal(server.order.length, 2);
  assert.equal(queue.outcome.state, "done");
  assert.equal(queue.failures, 0);
  await queue.stop();
});

test("a failing server is asked again later and later", async (t) => {
  const { phone, server } = await setUp(t, () => "lost on the way");
  const queue = new Queue(phone);
  await recordNotes(phone, 1);
  await queue.send(HURRIED);
  await queue.send(HURRIED);
  assert.deepEqual([queue.failures, queue.outcome.state], [2, "offline"]);
  server.script = () => "ok";
  await queue.send(HURRIED);
  assert.equal(queue.failures, 0);
  await queue.stop();
});

/** A server that takes photos in pieces, as the contract says. */
class PhotoServer {
  constructor(sizes, script = () => "ok") {
    this.sizes = sizes;
    this.script = script;
    this.got = new Map();
    this.puts = [];
    this.fetch = (address, request) => this.take(String(address).split("/").at(-1), request);
  }

  async take(uuid, request) {
    if (!this.sizes.has(uuid)) {
      return new Response("{}", { status: 404 });
    }
    const kept = this.got.get(uuid) ?? new Uint8Array();
    if (request.method === "PUT") {
      const [, first, last, total] = /bytes (\d+)-(\d+)\/(\d+)/.exec(request.headers["Content-Range"]).map(Number);
      const bytes = new Uint8Array(await request.body.arrayBuffer());
      assert.equal(bytes.length, last - first + 1);
      assert.equal(total, this.sizes.get(uuid));
      this.puts.push({ uuid, first });
      const fate = this.script(uuid, this.puts.length);
      if (fate === "lost") {
        throw new TypeError("network");
      }
      if (first === kept.length) {
        this.got.set(uuid, new Uint8Array([...kept, ...bytes]));
      }
      if (fate === "answer lost") {
        throw new TypeError("network");
      }
    }
    const received_bytes = this.got.get(uuid)?.length ?? 0;
    const state = received_bytes === this.sizes.get(uuid) ? "stored" : "announced";
    return new Response(JSON.stringify({ received_bytes, size_bytes: this.sizes.get(uuid), state }));
  }
}

test("a photo goes in pieces and goes on where it was cut", async (t) => {
  const { phone } = await setUp(t);
  const bytes = new Uint8Array(600_000).map((_, at) => at % 251);
  const made = await recordAction(phone, {
    ...NOTE,
    photos: [{ blob: new Blob([bytes], { type: "image/jpeg" }), role: "before" }],
  });
  const [photo] = await phone.store.photosOf(made.client_uuid);
  const server = new PhotoServer(new Map([[photo.photo_uuid, 600_000]]), (_uuid, count) =>
    ({ 2: "lost", 3: "answer lost" })[count] ?? "ok",
  );
  const sender = { ...phone, fetch: server.fetch };
  // Never before its operation is on the server.
  assert.deepEqual(await sendPhotos(sender), { stored: 0, left: 0 });
  await sendWaiting(phone, HURRIED);
  assert.equal((await sendPhotos(sender)).stored, 0);
  assert.equal((await sendPhotos(sender)).stored, 0);
  assert.equal((await phone.store.counts()).photos, 1);
  assert.equal((await sendPhotos(sender)).stored, 1);
  assert.deepEqual(server.puts.map((each) => each.first), [0, 262_144, 262_144, 524_288]);
  assert.deepEqual(server.got.get(photo.photo_uuid), bytes);
  assert.equal((await phone.store.counts()).photos, 0);
  assert.ok(await phone.store.photo(photo.photo_uuid)); // kept here, as its operation is
});

test("a photo that cannot be sent keeps no other one, and no operation ever", async (t) => {
  const { phone } = await setUp(t);
  const made = [];
  for (const text of ["one", "two"]) {
    made.push(await recordAction(phone, { ...NOTE, photos: [{ blob: new Blob([text]), role: "seen" }] }));
  }
  await sendWaiting(phone, HURRIED);
  const ids = (await phone.store.photosToSend()).map((each) => each.photo_uuid);
  const server = new PhotoServer(new Map(ids.map((id) => [id, 3])), (uuid) => (uuid === ids[0] ? "lost" : "ok"));
  assert.deepEqual(await sendPhotos({ ...phone, fetch: server.fetch }), { stored: 1, left: 1 });
  assert.equal((await phone.store.counts()).waiting, 0);
});

test("a photo the server refuses keeps its sentence and its bytes, and is not sent again", async (t) => {
  const { phone } = await setUp(t);
  const made = await recordAction(phone, { ...NOTE, photos: [{ blob: new Blob(["one"]), role: "seen" }] });
  await sendWaiting(phone, HURRIED);
  const answer = { received_bytes: 3, size_bytes: 3, state: "refused", sentence: "Not a picture." };
  await sendPhotos({ ...phone, fetch: async () => new Response(JSON.stringify(answer)) });
  const [photo] = await phone.store.photosOf(made.client_uuid);
  assert.deepEqual([photo.state, photo.sentence], ["refused", "Not a picture."]);
  assert.deepEqual(await phone.store.photosToSend(), []);
  assert.ok(await phone.store.photo(photo.photo_uuid));
});

test("the outbox as a file holds what is not settled and photos that are not sent, whole", async (t) => {
  const { phone, server } = await setUp(t);
  const bytes = new Uint8Array(100_000).map((_, at) => (at * 7) % 256);
  server.answerTo = ({ payload }) => ({ answer: payload.note === "bent" ? "applied" : "refused" });
  const pictured = await recordAction(phone, { ...NOTE, photos: [{ blob: new Blob([bytes]), role: "seen" }] });
  const [refused] = await recordNotes(phone, 1);
  const done = await recordAction(phone, NOTE);
  await sendWaiting(phone, HURRIED);
  const [waiting] = await recordNotes(phone, 1);
  const file = JSON.parse(await (await exportOutbox(phone.store)).text());
  assert.deepEqual([file.format, file.version, file.device_uuid], ["signfleet outbox", 1, DEVICE.device_uuid]);
  assert.deepEqual(
    file.operations,
    [pictured, refused, waiting].map(({ client_uuid, sha256: hash, content }) => ({ client_uuid, sha256: hash, content })),
  );
  assert.ok(!file.operations.some((each) => each.client_uuid === done.client_uuid));
  assert.equal(file.photos.length, 1);
  assert.deepEqual(new Uint8Array(Buffer.from(file.photos[0].base64, "base64")), bytes);
});

test("an outbox file is named after its phone and the moment", () => {
  const at = new Date(Date.UTC(2026, 10, 25, 10, 5, 9));
  const name = outboxName("12345678-aaaa-bbbb-cccc-1234567890ab", at);
  assert.equal(name, "signfleet-outbox-12345678-20261125T100509.json");
});

// Found by the run through faults: a phone that had nothing to send never spoke to the server.
test("a phone with nothing to send checks in, and offers all again after a restore", async (t) => {
  const { phone, server } = await setUp(t);
  await sendWaiting(phone, { isCheckIn: true });
  assert.equal(server.requests.length, 0, "it keeps nothing yet");
  const made = await recordNotes(phone, 3);
  await sendWaiting(phone, HURRIED);
  await sendWaiting(phone);
  assert.equal(server.requests.length, 1, "nothing to say");

  server.epoch = randomUUID();
  server.applied.clear();
  server.order.length = 0;
  const outcome = await sendWaiting(phone, { isCheckIn: true });
  assert.equal(outcome.state, "done");
  assert.deepEqual(server.order, made.map((each) => each.client_uuid));
});
