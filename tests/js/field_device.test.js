import assert from "node:assert/strict";
import { randomUUID } from "node:crypto";
import { test } from "node:test";

import { clockWords } from "../../static/js/field/clock.js";
import { Connection } from "../../static/js/field/connection.js";
import { nameDevice, seeSession } from "../../static/js/field/device.js";
import { recordAction } from "../../static/js/field/operations.js";
import { DEVICE, makePhone, PERSON } from "./support/field_phone.js";

globalThis.document = { cookie: "a=b; csrftoken=tok%3D" };

const ALDER = { id: 1, name: "Alder County", time_zone: "America/Chicago" };
const BEN = { id: 6, name: "Ben Hill" };

/** A server at which one person is signed in, or nobody. */
function serverOf({ user = null, devices = new Map(), cut = false, withdrawn = false } = {}) {
  const server = { user, devices, posts: [], cut };
  server.fetch = async (address, request) => {
    if (server.cut) {
      throw new TypeError("network");
    }
    if (!server.user) {
      return new Response(JSON.stringify({ error: { code: "not_authenticated", message: "No." } }), { status: 403 });
    }
    if (request.method !== "POST") {
      return new Response(JSON.stringify({ user: server.user, organisation: ALDER }));
    }
    const asked = JSON.parse(request.body);
    const key = request.headers["X-Device-Key"];
    server.posts.push({ ...asked, key, token: request.headers["X-CSRFToken"] });
    const known = devices.get(asked.device_uuid);
    if (withdrawn || (known && known !== key)) {
      const error = { code: "state_conflict", message: "This phone is another's." };
      return new Response(JSON.stringify({ error }), { status: 409 });
    }
    devices.set(asked.device_uuid, key ?? "new-key");
    return new Response(
      JSON.stringify({ device_uuid: asked.device_uuid, key: devices.get(asked.device_uuid), epoch: "e1", organisation: ALDER, user: server.user }),
    );
  };
  return server;
}

async function newPhone(t) {
  const phone = await makePhone(t);
  await phone.store.setSettings({ device: null, person: null });
  return phone;
}

test("the first sign-in makes the phone known, once", async (t) => {
  const phone = await newPhone(t);
  const server = serverOf({ user: PERSON });
  phone.fetch = server.fetch;
  const session = await seeSession(phone);
  assert.deepEqual(session, { state: "signed_in", person: PERSON, sentence: "" });
  const device = await phone.store.setting("device");
  assert.equal(device.key, "new-key");
  assert.equal(await phone.store.setting("epoch"), "e1");
  assert.equal(server.posts[0].token, "tok=");
  await seeSession(phone);
  assert.equal(server.posts.length, 1);
});

test("another person on the same phone is introduced with its key, and both names stay good", async (t) => {
  const phone = await newPhone(t);
  const server = serverOf({ user: PERSON });
  phone.fetch = server.fetch;
  await seeSession(phone);
  const before = await recordAction(phone, { kind: "check", payload: {} });
  server.user = BEN;
  await seeSession(phone);
  const after = await recordAction(phone, { kind: "check", payload: {} });
  assert.deepEqual([before.user_id, after.user_id], [PERSON.id, BEN.id]);
  assert.equal(server.posts[1].key, "new-key");
  assert.equal(server.posts[1].device_uuid, server.posts[0].device_uuid);
  server.user = PERSON;
  await seeSession(phone);
  assert.equal(server.posts.length, 2);
  assert.deepEqual(await phone.store.setting("person"), PERSON);
});

test("signed out, recording goes on under the last name, and the phone says so", async (t) => {
  const phone = await newPhone(t);
  const server = serverOf({ user: PERSON });
  phone.fetch = server.fetch;
  await seeSession(phone);
  server.user = null;
  const session = await seeSession(phone);
  assert.equal(session.state, "signed_out");
  assert.match(session.sentence, /goes under Ada Brook; it is sent all the same/);
  const made = await recordAction(phone, { kind: "check", payload: {} });
  assert.equal(made.user_id, PERSON.id);
  assert.ok(await phone.store.setting("device"));
});

test("without signal nothing is said of the session and nothing is changed", async (t) => {
  const phone = await makePhone(t);
  phone.fetch = serverOf({ cut: true }).fetch;
  assert.deepEqual(await seeSession(phone), { state: "offline", person: PERSON, sentence: "" });
  assert.deepEqual(await phone.store.setting("device"), DEVICE);
});

test("a server restored from before the phone was known takes it on as it is", async (t) => {
  const phone = await newPhone(t);
  const server = serverOf({ user: PERSON });
  phone.fetch = server.fetch;
  await seeSession(phone);
  const device = await phone.store.setting("device");
  server.devices.clear();
  await phone.store.setSetting("is_device_in_doubt", true); // the queue was told 401
  await seeSession(phone);
  assert.deepEqual(await phone.store.setting("device"), device);
  assert.deepEqual([...server.devices], [[device.device_uuid, device.key]]);
  assert.equal(await phone.store.setting("is_device_in_doubt"), false);
});

test("a phone the server does not take keeps the name it had and says why", async (t) => {
  const phone = await newPhone(t);
  phone.fetch = serverOf({ user: BEN, withdrawn: true }).fetch;
  const session = await seeSession(phone);
  assert.deepEqual([session.state, session.sentence], ["refused", "This phone is another's."]);
  assert.equal(await phone.store.setting("device"), null);
});

test("a person the server does not take on this phone is told under whose name they record", async (t) => {
  const phone = await makePhone(t);
  phone.fetch = serverOf({ user: BEN, withdrawn: true }).fetch;
  const session = await seeSession(phone);
  assert.equal(session.sentence, "This phone is another's. What you record goes under Ada Brook.");
  assert.deepEqual(await phone.store.setting("person"), PERSON);
});

test("the phone's name can be changed with signal, and stays without", async (t) => {
  const phone = await newPhone(t);
  const server = serverOf({ user: PERSON });
  phone.fetch = server.fetch;
  await seeSession(phone);
  assert.equal(await nameDevice(phone, "Truck 4"), "");
  assert.equal(server.posts[1].name, "Truck 4");
  server.cut = true;
  assert.match(await nameDevice(phone, "Truck 5"), /keeps the name it had/);
  assert.equal((await phone.store.setting("device")).name, "Truck 4");
});

test("the connection is what the server answers, and says how far the clock is out", async () => {
  const YEAR_S = 365 * 86_400;
  const connection = new Connection({
    fetch: async () => {
      const server_time = new Date(Date.now() + YEAR_S * 1000).toISOString();
      return new Response(JSON.stringify({ epoch: randomUUID(), server_time }));
    },
  });
  const told = [];
  for (const type of ["online", "offline", "heard"]) {
    connection.addEventListener(type, () => told.push(type));
  }
  assert.equal(await connection.ask(), true);
  assert.ok(Math.abs(connection.skew_s - YEAR_S) < 60);
  assert.match(clockWords(connection.skew_s), /clock is 365 days slow\. What you record keeps both times/);
  connection.app.fetch = async () => new Response("", { status: 502 });
  assert.equal(await connection.ask(), false);
  await connection.ask();
  assert.deepEqual(told, ["online", "heard", "offline"]);
});

test("a clock within five minutes is not spoken of", () => {
  assert.equal(clockWords(300), "");
  assert.equal(clockWords(null), "");
  assert.match(clockWords(-301), /5 minutes fast/);
  assert.match(clockWords(7_200), /2 hours slow/);
});
