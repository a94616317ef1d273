/** Photos of forms that are left before they are saved: none is lost, none is kept twice. */
import assert from "node:assert/strict";
import { test } from "node:test";

import { draftKey, forgetDraftPhotos } from "../../static/js/field/drafts.js";
import { recordAction } from "../../static/js/field/operations.js";
import { openStore, SCHEMA_VERSION, StorageFullError } from "../../static/js/field/store.js";
import { makePhone } from "./support/field_phone.js";

const HASH = "#/note/7?by=near";
const DRAFT = draftKey(HASH);
const NOTE = { kind: "inspection", payload: { sign: { id: 7 }, how: "visual_day", note: "bent" } };

/** A photo of the form at an address, taken at a moment. */
function taken(at_ms, more = {}) {
  return {
    photo_uuid: crypto.randomUUID(),
    draft: DRAFT,
    hash: HASH,
    role: "seen",
    taken_at_ms: at_ms,
    type: "image/jpeg",
    bytes: new TextEncoder().encode(`picture ${at_ms}`).buffer,
    ...more,
  };
}

const shownText = async (store, draft = DRAFT) =>
  Promise.all(
    (await store.draftPhotos(draft)).map(({ bytes }) => bytes && new Blob([bytes]).text()),
  );

test("photos of a form that was left are there after the app is opened again, in their order", async (t) => {
  const phone = await makePhone(t);
  for (const at_ms of [30, 10, 20]) {
    await phone.store.keepDraftPhoto(taken(at_ms));
  }
  await phone.store.keepDraftPhoto(taken(15, { draft: draftKey("#/note/8"), hash: "#/note/8" }));
  phone.store.close();
  const store = await openStore({ name: phone.name });
  t.after(() => store.close());
  assert.deepEqual(await shownText(store), ["picture 10", "picture 20", "picture 30"]);
  assert.deepEqual(await store.formsWithPhotos(), [
    { hash: HASH, taken_at_ms: 30, count: 3 },
    { hash: "#/note/8", taken_at_ms: 15, count: 1 },
  ]);
});

test("how its sign was found does not matter, what a form puts right does", () => {
  assert.equal(draftKey("#/note/7?by=near"), draftKey("#/note/7"));
  assert.notEqual(draftKey("#/note/7?replaces=a"), draftKey("#/note/7"));
  // "#/note/7" never takes the photos of "#/note/77".
  assert.notEqual(draftKey("#/note/7"), draftKey("#/note/77").slice(0, -1));
});

test("a photo keeps its id when its form is saved, and the form is empty afterwards", async (t) => {
  const phone = await makePhone(t);
  const photo = taken(10);
  await phone.store.keepDraftPhoto(photo);
  const { photo_uuid, bytes, role } = photo;
  const made = await recordAction(phone, {
    ...NOTE,
    photos: [{ photo_uuid, blob: new Blob([bytes]), role }],
  });
  const [kept] = await phone.store.photosOf(made.client_uuid);
  assert.equal(kept.photo_uuid, photo_uuid);
  // The power went before the form was emptied: the saved photo is not shown a second time.
  assert.deepEqual(await phone.store.draftPhotos(DRAFT), []);
  assert.deepEqual(await phone.store.formsWithPhotos(), []);
  await forgetDraftPhotos(phone.store, HASH, [photo_uuid]);
  assert.equal(await phone.store.database.count("draft_photos"), 0);
});

test("a photo taken after the record was made stays with the form", async (t) => {
  const phone = await makePhone(t);
  const [first, late] = [taken(10), taken(20)];
  await phone.store.keepDraftPhoto(first);
  await phone.store.keepDraftPhoto(late);
  await forgetDraftPhotos(phone.store, HASH, [first.photo_uuid]);
  assert.deepEqual(await shownText(phone.store), ["picture 20"]);
});

test("a photo of an earlier record that was left out stays out until the form is saved", async (t) => {
  const phone = await makePhone(t);
  const made = await recordAction(phone, {
    ...NOTE,
    photos: [{ blob: new Blob(["old"]), role: "seen" }],
  });
  const [{ photo_uuid }] = await phone.store.photosOf(made.client_uuid);
  await phone.store.keepDraftPhoto(taken(10, { photo_uuid, bytes: null }));
  assert.deepEqual(
    (await phone.store.draftPhotos(DRAFT)).map((each) => [each.photo_uuid, each.bytes]),
    [[photo_uuid, null]],
  );
  assert.deepEqual(await phone.store.formsWithPhotos(), []);
  await forgetDraftPhotos(phone.store, HASH, []);
  assert.deepEqual(await phone.store.draftPhotos(DRAFT), []);
  // The earlier record has its photo all the same.
  assert.equal(await (await phone.store.photo(photo_uuid)).blob.text(), "old");
});

test("a photo taken out by the person is gone, the others stay", async (t) => {
  const phone = await makePhone(t);
  const [first, second] = [taken(10), taken(20)];
  await phone.store.keepDraftPhoto(first);
  await phone.store.keepDraftPhoto(second);
  await phone.store.dropDraftPhotos([first.photo_uuid]);
  assert.deepEqual(await shownText(phone.store), ["picture 20"]);
});

test("on a full phone photos the server has make room for one just taken; else it is said", async (t) => {
  const phone = await makePhone(t);
  const made = await recordAction(phone, {
    ...NOTE,
    photos: [{ blob: new Blob(["sent"]), role: "seen" }],
  });
  const [{ photo_uuid }] = await phone.store.photosOf(made.client_uuid);
  await phone.store.setPhotoProgress(photo_uuid, { state: "stored", sent_bytes: 4 });
  const write = phone.store.write.bind(phone.store);
  let isFull = true;
  phone.store.write = async (names, work) => {
    if (names.includes("draft_photos") && isFull) {
      throw new StorageFullError();
    }
    isFull = false; // something else was let go of
    return write(names, work);
  };
  await phone.store.keepDraftPhoto(taken(10));
  assert.deepEqual(await shownText(phone.store), ["picture 10"]);
  assert.equal(await phone.store.photo(photo_uuid), null);
  isFull = true;
  await assert.rejects(phone.store.keepDraftPhoto(taken(20)), StorageFullError);
});

test("a phone of schema version 2 is brought to version 3 with all that is in it", async (t) => {
  const old = await makePhone(t, { version: 2 });
  const made = await recordAction(old, {
    ...NOTE,
    sign: { id: 7 },
    photos: [{ blob: new Blob(["picture"]), role: "seen" }],
  });
  old.store.close();
  const store = await openStore({ name: old.name });
  t.after(() => store.close());
  assert.ok(SCHEMA_VERSION >= 3);
  assert.equal(store.database.version, SCHEMA_VERSION);
  assert.deepEqual(await store.operation(made.client_uuid), made);
  const [photo] = await store.photosOf(made.client_uuid);
  assert.equal(await (await store.photo(photo.photo_uuid)).blob.text(), "picture");
  assert.deepEqual(await store.draftPhotos(DRAFT), []);
  await store.keepDraftPhoto(taken(10));
  assert.deepEqual(await shownText(store), ["picture 10"]);
});
