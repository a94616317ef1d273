import assert from "node:assert/strict";
import { test } from "node:test";

import { takeBasics } from "../../static/js/field/carrying.js";
import { bearingDeg, distanceM } from "../../static/js/field/distances.js";
import { makePhone, recordNotes } from "./support/field_phone.js";

const HERE = { latitude_deg: 43, longitude_deg: -89.5 };

function pageOf(ids, more = {}) {
  return {
    page: 1,
    pages: 1,
    supports: ids.map((id) => ({
      id,
      latitude_deg: 43 + id * 0.0001,
      longitude_deg: -89.5,
      road: "Mill Road",
      key: `P${id}`,
    })),
    positions: ids.flatMap((id) => [
      { id: id * 10 + 1, support_id: id, sign_id: null, order_on_support: 2 },
      { id: id * 10, support_id: id, sign_id: id * 100, order_on_support: 1 },
    ]),
    signs: ids.map((id) => ({
      id: id * 100,
      position_id: id * 10,
      label_id: id === 1 ? "001-0JK" : null,
      code: "R1-1",
      name: "Stop",
      plan: "aa",
      drawing: "dd",
      photo_ids: [id],
    })),
    stops: [],
    plans: { aa: { v: 1 } },
    drawings: { dd: "<svg/>" },
    roads: [{ id: 1, name: "Mill Road", line: [[-89.51, 43], [-89.49, 43]] }],
    ...more,
  };
}

function area(id) {
  return { id, title: id, kind: "area", package_id: null, box: null, taken_at_ms: 1 };
}

// One degree of latitude on a sphere of the mean radius of WGS 84 (6,371,008.8 m: Moritz,
// Geodetic Reference System 1980, J. Geodesy 74, 2000, R1) is π/180 of it: 111,195.08 m.
test("distances and bearings agree with the sphere of the mean radius", () => {
  const north = { ...HERE, latitude_deg: 44 };
  assert.ok(Math.abs(distanceM(HERE, north) - 111_195.08) < 0.01);
  assert.equal(bearingDeg(HERE, north), 0);
  const equator = { latitude_deg: 0, longitude_deg: 179.9 };
  const across = { latitude_deg: 0, longitude_deg: -179.9 };
  assert.ok(Math.abs(distanceM(equator, across) - 0.2 * 111_195.08) < 0.01);
  assert.ok(Math.abs(bearingDeg(equator, across) - 90) < 1e-9);
});

test("the signs near are listed nearest first, with what stands on one support in its order", async (t) => {
  const { store } = await makePhone(t);
  await store.putArea(area("a"), [pageOf([1, 2, 3])]);
  const near = await store.signsNear(HERE, 25); // 0.0002° of latitude is 22 m, 0.0003° 33 m
  assert.deepEqual(near.map((each) => each.position.id), [10, 11, 20, 21]);
  assert.equal(near[0].sign.id, 100);
  assert.equal(near[1].sign, null);
  assert.ok(Math.abs(near[0].distance_m - 11.12) < 0.01);
  assert.equal(near[0].bearing_deg, 0);
});

test("a box across the date line holds what is on both sides of it", async (t) => {
  const { store } = await makePhone(t);
  const page = pageOf([1, 2, 3]);
  [179.9, -179.9, 0].forEach((longitude, at) => {
    page.supports[at].longitude_deg = longitude;
  });
  await store.putArea(area("a"), [page]);
  const box = { south_deg: 42, north_deg: 44, west_deg: 179, east_deg: -179 };
  assert.deepEqual((await store.inBox(box)).map((each) => each.support.id), [1, 1, 2, 2]);
});

test("a label is found however it was typed, on a sign or on a face the shop has ready", async (t) => {
  const { store } = await makePhone(t);
  await store.putArea(area("a"), [pageOf([1])]);
  const face = { id: 9, label_id: "001-0KX", plan: "bb", drawing: null };
  await store.putStock([{ faces: [face], plans: { bb: {} }, drawings: {} }]);
  assert.equal((await store.byLabel("oo1 ojk")).found.sign.id, 100);
  assert.equal((await store.byLabel("001-0kx")).face.id, 9);
  assert.equal(await store.byLabel("nothing"), null);
  await store.putStock([{ faces: [{ ...face, id: 10, label_id: "" }], plans: {}, drawings: {} }]);
  assert.equal(await store.byLabel(" - "), null, "no label is nobody's label");
});

test("words find signs by label, code, name, and by their support's key and road", async (t) => {
  const { store } = await makePhone(t);
  await store.putArea(area("a"), [pageOf([1, 2])]);
  const ids = async (text) => (await store.byText(text)).map((each) => each.position.id);
  assert.deepEqual(await ids("p2"), [20, 21]);
  assert.deepEqual(await ids("200"), [20]);
  assert.deepEqual((await ids("mill")).sort(), [10, 11, 20, 21]);
  assert.deepEqual(await ids("r1-1 p1"), [10]);
  assert.deepEqual(await ids(""), []);
  assert.deepEqual(await ids("elm"), []);
});

test("what two areas hold stays until both are dropped; an area taken again forgets what left it", async (t) => {
  const { store } = await makePhone(t);
  await store.putArea(area("a"), [pageOf([1, 2])]);
  await store.putArea(area("b"), [pageOf([2, 3])]);
  await store.putArea(area("a"), [pageOf([1])]);
  assert.ok(await store.sign(200));
  await store.dropArea("b");
  assert.equal(await store.sign(200), null);
  assert.equal(await store.support(3), null);
  assert.ok(await store.sign(100));
  assert.deepEqual((await store.areas()).map((each) => [each.id, each.is_whole, each.sign_count]), [["a", true, 1]]);
  assert.deepEqual(await store.plan("aa"), { v: 1 });
  await store.dropArea("a");
  assert.equal(await store.plan("aa"), null);
  assert.equal(await store.drawing("dd"), null);
});

test("an area cut off half way keeps what it had, takes what came, and says it is not whole", async (t) => {
  const { store } = await makePhone(t);
  await store.putArea(area("a"), [pageOf([1])]);
  async function* cut() {
    yield { ...pageOf([2]), pages: 2 };
    throw new TypeError("network");
  }
  await assert.rejects(store.putArea(area("a"), cut()));
  assert.ok((await store.sign(100)) && (await store.sign(200)));
  assert.equal((await store.areas())[0].is_whole, false);
  await store.putArea(area("a"), [pageOf([1])]);
  assert.equal(await store.sign(200), null);
});

test("taking work along never touches what is waiting to be sent", async (t) => {
  const phone = await makePhone(t);
  await phone.store.putArea(area("a"), [pageOf([1])]);
  const [made] = await recordNotes(phone, 1);
  await phone.store.dropArea("a");
  assert.deepEqual(await phone.store.operation(made.client_uuid), made);
});

test("stops come in the order of their package, roads by the box they cross", async (t) => {
  const { store } = await makePhone(t);
  const stops = [2, 1].map((number) => ({ id: number, package_id: 5, number }));
  await store.putArea(area("package:5"), [pageOf([1], { stops })]);
  assert.deepEqual((await store.stops(5)).map((each) => each.number), [1, 2]);
  assert.deepEqual(await store.stops(6), []);
  const box = { south_deg: 42.9, north_deg: 43.1, west_deg: -89.505, east_deg: -89.5 };
  assert.equal((await store.roads(box)).length, 1);
  assert.equal((await store.roads({ ...box, south_deg: 43.05 })).length, 0);
});

test("small photos that are missing are named, and kept once they are here", async (t) => {
  const { store } = await makePhone(t);
  await store.putArea(area("a"), [pageOf([1, 2])]);
  await store.putPicture(1, new Blob(["p"], { type: "image/jpeg" }));
  assert.deepEqual(await store.picturesMissing("a"), [2]);
  assert.equal(await (await store.picture(1)).text(), "p");
  assert.equal(await store.picture(2), null);
});

test("a phone takes nothing along of an organisation that it does not record for", async (t) => {
  const { store } = await makePhone(t);
  const answerOf = (organisation) => async () => Response.json({ organisation, words: {} });
  const app = { store, refreshBasics: async () => {} };
  await store.setSetting("organisation", { id: 1, name: "Alder County" });
  t.mock.method(globalThis, "fetch", answerOf({ id: 2, name: "Birch County" }));
  await assert.rejects(takeBasics(app), /records for Alder County, and you are signed in for Birch/);
  assert.equal(await store.basics(), null);
  t.mock.method(globalThis, "fetch", answerOf({ id: 1, name: "Alder County" }));
  await takeBasics(app);
  assert.equal((await store.basics()).organisation.id, 1);
});
