import assert from "node:assert/strict";
import { test } from "node:test";

import { openDB } from "idb";

import { NobodyError, NotSavedError, NotSecureError, recordAction } from "../../static/js/field/operations.js";
import { exportUnsaved } from "../../static/js/field/outbox_file.js";
import {
  openStore,
  SCHEMA_VERSION,
  SequenceTakenError,
  StorageFullError,
} from "../../static/js/field/store.js";
import { DEVICE, makePhone, PERSON, recordNotes, sha256 } from "./support/field_phone.js";

const NOTE = { kind: "inspection", payload: { sign: { id: 1 }, how: "visual_day", note: "bent" } };
const PICTURE = () => ({ blob: new Blob(["picture"], { type: "image/jpeg" }), role: "seen" });
const DAY_MS = 86_400_000;

test("an operation carries its text, the hash of that text, its number, time and person", async (t) => {
  const phone = await makePhone(t);
  const made = await recordAction(phone, { ...NOTE, sign: { id: 1 }, baseVersion: "v1" });
  const kept = await phone.store.operation(made.client_uuid);
  assert.deepEqual(kept, made);
  assert.equal(kept.sha256, sha256(kept.content)); // by Node's own SHA-256
  const content = JSON.parse(kept.content);
  assert.equal(content.sequence, 1);
  assert.equal(content.user_id, PERSON.id);
  assert.equal(content.device_offset_minutes, 0 - new Date().getTimezoneOffset());
  assert.equal(Date.parse(content.device_at), kept.recorded_at_ms);
  assert.equal(content.base_version, "v1");
  assert.deepEqual(content.payload, NOTE.payload);
  assert.equal(kept.state, "waiting");
});

test("before anybody signed in nothing is recorded, and the person is told why", async (t) => {
  const phone = await makePhone(t);
  await phone.store.setSetting("person", null);
  await assert.rejects(recordAction(phone, NOTE), NobodyError);
  assert.deepEqual(await phone.store.operations(), []);
});

test("on an address without https nothing is recorded, and the person is told why", async (t) => {
  const phone = await makePhone(t);
  globalThis.isSecureContext = false;
  t.after(() => delete globalThis.isSecureContext);
  await assert.rejects(recordAction(phone, NOTE), NotSecureError);
  assert.deepEqual(await phone.store.operations(), []);
});

test("an operation, its photos and its number are stored together or not at all", async (t) => {
  const phone = await makePhone(t);
  const first = await recordAction(phone, { ...NOTE, photos: [PICTURE()] });
  const [photo] = await phone.store.photosOf(first.client_uuid);
  const second = { ...first, client_uuid: crypto.randomUUID(), sequence: 2 };
  // The same photo id again: the database refuses it, and with it all the rest.
  await assert.rejects(
    phone.store.record(second, [{ ...photo, operation: second.client_uuid, bytes: new ArrayBuffer(1) }]),
  );
  assert.equal(await phone.store.operation(second.client_uuid), null);
  assert.equal(await phone.store.nextSequence(), 2);
  assert.equal((await phone.store.photo(photo.photo_uuid)).blob.size, "picture".length);
});

test("saved means on the disk: it waits for a strict transaction to complete", async (t) => {
  const phone = await makePhone(t);
  const { database } = phone.store;
  const open = database.transaction.bind(database);
  const seen = [];
  phone.store.database = new Proxy(database, {
    get(target, name) {
      if (name !== "transaction") {
        const value = Reflect.get(target, name);
        return typeof value === "function" ? value.bind(target) : value;
      }
      return (names, mode, options) => {
        const transaction = open(names, mode, options);
        if (mode === "readwrite") {
          seen.push(options?.durability);
          transaction.done.then(() => seen.push("complete"));
        }
        return transaction;
      };
    },
  });
  await recordAction(phone, NOTE);
  assert.deepEqual(seen, ["strict", "complete"]);
});

test("two tabs recording at once never take the same number", async (t) => {
  const one = await makePhone(t);
  const two = await makePhone(t, { name: one.name });
  await Promise.all([recordNotes(one, 20), recordNotes(two, 20), recordNotes(one, 10)]);
  const numbers = (await one.store.operations({ limit: 100 })).map((each) => each.sequence);
  assert.deepEqual(numbers, Array.from({ length: 50 }, (_, at) => 50 - at));
});

test("a number that another tab took in between is not given twice", async (t) => {
  const phone = await makePhone(t);
  const made = await recordAction(phone, NOTE);
  const late = { ...made, client_uuid: crypto.randomUUID() };
  await assert.rejects(phone.store.record(late, []), SequenceTakenError);
});

test("a phone of schema version 1 is brought to version 2 with all that is in it", async (t) => {
  const old = await makePhone(t, { version: 1 });
  const made = await recordAction(old, { ...NOTE, sign: { id: 7 }, photos: [PICTURE()] });
  await recordNotes(old, 30);
  old.store.close();
  const store = await openStore({ name: old.name });
  t.after(() => store.close());
  assert.equal(store.database.version, SCHEMA_VERSION);
  assert.ok(SCHEMA_VERSION >= 2);
  assert.deepEqual(await store.operation(made.client_uuid), made);
  const [photo] = await store.photosOf(made.client_uuid);
  const { blob } = await store.photo(photo.photo_uuid);
  assert.equal(await blob.text(), "picture");
  assert.deepEqual(await store.setting("person"), PERSON);
  assert.equal((await store.counts()).waiting, 31);
  assert.equal(await store.nextSequence(), 32);
  // What version 2 brought works on what version 1 recorded.
  assert.equal((await store.operations({ sign: "sign:7" })).length, 2);
  assert.deepEqual(await store.areas(), []);
});

test("an old tab gives way to a newer version of the app, and says that it is out of date", async (t) => {
  const old = await makePhone(t, { version: 1 });
  await recordNotes(old, 1);
  await old.store.setting("device");
  const told = new Promise((resolve) => old.store.onChange(() => old.store.isOutdated && resolve()));
  const store = await openStore({ name: old.name });
  t.after(() => store.close());
  await told;
  // It cannot save any more; what was typed can be kept as a file, under the right name.
  const unsaved = await recordAction(old, NOTE).catch((error) => error);
  assert.ok(unsaved instanceof NotSavedError);
  assert.match(unsaved.message, /still on the screen: keep it as a file/);
  const file = JSON.parse(await (await exportUnsaved(old.store, unsaved)).text());
  assert.equal(file.device_uuid, DEVICE.device_uuid);
  const [{ content }] = file.operations;
  assert.equal(JSON.parse(content).user_id, PERSON.id);
  assert.deepEqual(JSON.parse(content).payload, NOTE.payload);
});

test("a database of a newer version of the app is not opened as an older one", async (t) => {
  const phone = await makePhone(t);
  phone.store.close();
  const newer = await openDB(phone.name, SCHEMA_VERSION + 1);
  newer.close();
  await assert.rejects(openStore({ name: phone.name }), /storage refused it/);
});

test("what is recorded is listed newest first, by sign, page by page", async (t) => {
  const phone = await makePhone(t);
  await recordNotes(phone, 5);
  await recordNotes(phone, 2);
  const page = await phone.store.operations({ limit: 3 });
  assert.deepEqual(page.map((each) => each.sequence), [7, 6, 5]);
  const next = await phone.store.operations({ limit: 3, before: 5 });
  assert.deepEqual(next.map((each) => each.sequence), [4, 3, 2]);
  const ofSign = await phone.store.operations({ sign: "sign:2" });
  assert.deepEqual(ofSign.map((each) => each.sequence), [7, 2]);
  const older = await phone.store.operations({ sign: "sign:2", before: 7 });
  assert.deepEqual(older.map((each) => each.sequence), [2]);
});

test("a corrected resend replaces the refused one: both are kept, one is counted", async (t) => {
  const phone = await makePhone(t);
  const [refused] = await recordNotes(phone, 1);
  const answer = { client_uuid: refused.client_uuid, answer: "refused", code: "unlikely", sentence: "Read again." };
  await phone.store.setAnswers([answer], { epoch: "e", server_ms: 1 });
  assert.equal((await phone.store.counts()).refused, 1);
  const again = await recordAction(phone, { ...NOTE, replaces: refused.client_uuid });
  const kept = await phone.store.operation(refused.client_uuid);
  assert.equal(kept.replaced_by, again.client_uuid);
  assert.equal(kept.answer.sentence, "Read again.");
  assert.deepEqual(await phone.store.counts(), { waiting: 1, held: 0, refused: 0, photos: 0 });
});

test("a discarded one is discarded when the server says so, not before", async (t) => {
  const phone = await makePhone(t);
  const [refused] = await recordNotes(phone, 1);
  await phone.store.setAnswers([{ client_uuid: refused.client_uuid, answer: "refused" }], { epoch: "e", server_ms: 1 });
  const payload = { operation: refused.client_uuid, reason: "typed on the wrong sign" };
  const discard = await recordAction(phone, { kind: "discard", payload });
  assert.equal((await phone.store.operation(refused.client_uuid)).state, "refused");
  assert.equal((await phone.store.counts()).refused, 0);
  await phone.store.setAnswers([{ client_uuid: discard.client_uuid, answer: "applied" }], { epoch: "e", server_ms: 2 });
  assert.equal((await phone.store.operation(refused.client_uuid)).state, "discarded");
});

test("undo takes back what was never tried, and nothing that others stand on", async (t) => {
  const phone = await makePhone(t);
  const [first, second] = await recordNotes(phone, 2);
  const third = await recordAction(phone, { ...NOTE, needs: [second.client_uuid] });
  assert.equal(await phone.store.withdraw(first.client_uuid, "undone"), true);
  assert.equal(await phone.store.withdraw(second.client_uuid, "undone"), false);
  await phone.store.markSent([third.client_uuid]);
  assert.equal(await phone.store.withdraw(third.client_uuid, "undone"), false);
  const kept = await phone.store.operation(first.client_uuid);
  assert.deepEqual([kept.state, kept.content], ["withdrawn", first.content]);
  const { batch } = await phone.store.toSend({ most: 9, most_bytes: 1e6, now_ms: Date.now(), is_hurried: true });
  assert.deepEqual(batch.map((each) => each.sequence), [2, 3]);
});

test("photos of what was taken back, discarded or replaced are not counted as waiting", async (t) => {
  const phone = await makePhone(t);
  const pictured = () => recordAction(phone, { ...NOTE, photos: [PICTURE()] });
  const made = [await pictured(), await pictured(), await pictured(), await pictured()];
  assert.equal((await phone.store.counts()).photos, 4);
  await phone.store.withdraw(made[0].client_uuid, "undone");
  const answers = ["refused", "discarded"].map((answer, at) => ({ client_uuid: made[at + 1].client_uuid, answer }));
  await phone.store.setAnswers(answers, { epoch: "e", server_ms: 1 });
  assert.equal((await phone.store.counts()).photos, 2);
  await recordAction(phone, { ...NOTE, replaces: made[1].client_uuid });
  assert.equal((await phone.store.counts()).photos, 1);
  const left = await phone.store.photosNotStored();
  assert.deepEqual(left.map((photo) => photo.operation), [made[3].client_uuid]);
});

test("acknowledged ones go after thirty days, unless a photo of theirs still waits", async (t) => {
  const phone = await makePhone(t);
  const [old, fresh, waiting] = await recordNotes(phone, 3);
  const pictured = await recordAction(phone, { ...NOTE, photos: [PICTURE()] });
  const now_ms = 100 * DAY_MS;
  const answered = (operation, server_ms) =>
    phone.store.setAnswers([{ client_uuid: operation.client_uuid, answer: "applied" }], { epoch: "e", server_ms });
  await answered(old, now_ms - 30 * DAY_MS - 1);
  await answered(pictured, now_ms - 30 * DAY_MS - 1);
  await answered(fresh, now_ms - 30 * DAY_MS);
  assert.equal(await phone.store.dropOldAcknowledged(now_ms), 1);
  assert.equal(await phone.store.operation(old.client_uuid), null);
  for (const kept of [fresh, waiting, pictured]) {
    assert.ok(await phone.store.operation(kept.client_uuid));
  }
  const [photo] = await phone.store.photosOf(pictured.client_uuid);
  await phone.store.setPhotoProgress(photo.photo_uuid, { state: "stored" });
  assert.equal(await phone.store.dropOldAcknowledged(now_ms), 1);
  assert.equal(await phone.store.photo(photo.photo_uuid), null);
});

/** Let the next writings of operations fail as a full disk does. */
function fillUp(phone, times) {
  const put = phone.store.putRecord.bind(phone.store);
  let left = times;
  phone.store.putRecord = async (operation, photos) => {
    if (left > 0) {
      left -= 1;
      throw new StorageFullError();
    }
    return put(operation, photos);
  };
}

test("a full phone says so, loses nothing that was typed, and saves it once when there is room", async (t) => {
  const phone = await makePhone(t);
  fillUp(phone, 1);
  const unsaved = await recordAction(phone, { ...NOTE, photos: [PICTURE()] }).catch((error) => error);
  assert.ok(unsaved instanceof NotSavedError);
  assert.match(unsaved.message, /no room left.*still on the screen.*file/);
  assert.deepEqual(JSON.parse(unsaved.operation.content).payload, NOTE.payload);
  assert.equal(unsaved.photos.length, 1);
  await recordNotes(phone, 1); // something smaller fitted in between
  const saved = await unsaved.again();
  assert.equal(saved.client_uuid, unsaved.operation.client_uuid);
  assert.equal(saved.sha256, sha256(saved.content));
  assert.equal((await phone.store.operations()).length, 2);
});

test("photos the server has make room before anything is refused", async (t) => {
  const phone = await makePhone(t);
  const [sent, unsent] = [await recordAction(phone, { ...NOTE, photos: [PICTURE()] }), await recordAction(phone, { ...NOTE, photos: [PICTURE()] })];
  const [photo] = await phone.store.photosOf(sent.client_uuid);
  await phone.store.setPhotoProgress(photo.photo_uuid, { state: "stored" });
  fillUp(phone, 1);
  await recordAction(phone, NOTE);
  assert.equal(await phone.store.photo(photo.photo_uuid), null);
  assert.equal((await phone.store.photosOf(sent.client_uuid)).length, 1);
  const [other] = await phone.store.photosOf(unsent.client_uuid);
  assert.ok(await phone.store.photo(other.photo_uuid));
});

test("an error of the browser's storage is told in our words, a full one as full", async (t) => {
  const phone = await makePhone(t);
  const full = phone.store.write(["settings"], async () => {
    throw new DOMException("no", "QuotaExceededError");
  });
  await assert.rejects(full, StorageFullError);
  const broken = phone.store.write(["settings"], async () => {
    throw new DOMException("disk", "UnknownError");
  });
  await assert.rejects(broken, /storage refused it \(disk\)/);
});
