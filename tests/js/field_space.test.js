import assert from "node:assert/strict";
import { test } from "node:test";

import { askToPersist, seeSpace, spaceWords } from "../../static/js/field/space.js";

/** Let the browser give room as it is told. */
function browserWith(t, storage) {
  const before = Object.getOwnPropertyDescriptor(globalThis, "navigator");
  Object.defineProperty(globalThis, "navigator", { value: { storage }, configurable: true });
  t.after(() => Object.defineProperty(globalThis, "navigator", before));
}

test("the phone is asked to keep the records, once", async (t) => {
  let asked = 0;
  const persist = async () => {
    asked += 1;
    return true;
  };
  browserWith(t, { persisted: async () => asked > 0, persist });
  assert.equal(await askToPersist(), true);
  assert.equal(await askToPersist(), true);
  assert.equal(asked, 1);
});

test("a phone that does not promise to keep them is told what to do", async (t) => {
  browserWith(t, {
    persisted: async () => false,
    persist: async () => false,
    estimate: async () => ({ usage: 12_340_000, quota: 2_000_000_000 }),
  });
  assert.equal(await askToPersist(), false);
  const words = spaceWords(await seeSpace());
  assert.match(words, /may clear this app's records.*Put the app on the home screen/);
  assert.match(words, /12\.3 of 2,000 MB are used/);
});

test("a browser that cannot be asked is said to be one", async (t) => {
  browserWith(t, undefined);
  assert.equal(await askToPersist(), null);
  const space = await seeSpace();
  assert.deepEqual(space, { is_persisted: null, used_bytes: null, quota_bytes: null });
  assert.match(spaceWords(space), /^The phone may clear/);
});
