/**
 * Who holds the phone, and making the phone known to the server after signing in. The name that
 * was last signed in stays on the phone: recording goes on under it when the session ends.
 *
 * @module
 */
import { DEVICES_ADDRESS, DEVICES_ME_ADDRESS, PING_TIMEOUT_MS } from "./constants.js";

/** @typedef {import("./store.js").Store} Store */
/** @typedef {import("./types.js").Person} Person */
/** @typedef {{ store: Store, version: string, fetch?: typeof fetch }} App */

/**
 * `signed_in`: this person's session is good and the phone is known. `signed_out`: no session.
 * `offline`: not known, the server did not answer. `refused`: signed in, but the server does not
 * take this phone, and the sentence says why.
 *
 * @typedef {object} Session
 * @property {"signed_in" | "signed_out" | "offline" | "refused"} state
 * @property {Person | null} person under whose name is recorded
 * @property {string} sentence what to show; "" when there is nothing to say
 */

/**
 * See who is signed in, and make the phone and the person known to the server.
 *
 * @param {App} app
 * @returns {Promise<Session>}
 */
export async function seeSession(app) {
  const last = await app.store.setting("person");
  /** @type {Response} */
  let response;
  try {
    response = await call(app, DEVICES_ME_ADDRESS, {});
    if (response.status === 401 || response.status === 403) {
      return { state: "signed_out", person: last, sentence: signedOutWords(last) };
    }
    if (!response.ok) {
      return { state: "offline", person: last, sentence: "" };
    }
    const me = await response.json();
    return await introduce(app, me, last);
  } catch (error) {
    if (error instanceof Error && error.name.startsWith("Storage")) {
      throw error;
    }
    return { state: "offline", person: last, sentence: "" };
  }
}

/**
 * Return the line that stands on every screen while nobody is signed in.
 *
 * @param {Person | null} person
 */
export function signedOutWords(person) {
  return person
    ? `Signed out. What you record goes under ${person.name}; it is sent all the same. Sign in ` +
        "if you are somebody else."
    : "Nobody has signed in on this phone yet. Sign in once while there is signal.";
}

/**
 * @param {App} app
 * @param {{ user: Person, organisation: { id: number, name: string } }} me
 * @param {Person | null} last
 * @returns {Promise<Session>}
 */
async function introduce(app, me, last) {
  const device = await app.store.setting("device");
  const people = (await app.store.setting("people")) ?? [];
  const organisation = await app.store.setting("organisation");
  const isInDoubt = await app.store.setting("is_device_in_doubt");
  const isKnown = people.includes(me.user.id) && organisation?.id === me.organisation.id;
  if (device && isKnown && !isInDoubt) {
    await app.store.setSetting("person", me.user);
    return { state: "signed_in", person: me.user, sentence: "" };
  }
  const name = device?.name ?? phoneName();
  const device_uuid = device?.device_uuid ?? crypto.randomUUID();
  const response = await register(app, { device_uuid, key: device?.key ?? "", name });
  if (!response.ok) {
    const under = last ? ` What you record goes under ${last.name}.` : "";
    return { state: "refused", person: last, sentence: (await refusalOf(response)) + under };
  }
  const known = await response.json();
  await app.store.setSettings({
    device: { device_uuid, key: known.key || device?.key, name },
    organisation: known.organisation,
    people: [...new Set([...people, known.user.id])],
    person: known.user,
    is_device_in_doubt: false,
    epoch: (await app.store.setting("epoch")) ?? known.epoch,
  });
  return { state: "signed_in", person: known.user, sentence: "" };
}

/**
 * Give the phone another name, as the desk's list of phones shows it; needs signal and a session.
 *
 * @param {App} app
 * @param {string} name
 * @returns {Promise<string>} "" when it is done, else why it is not
 */
export async function nameDevice(app, name) {
  const device = await app.store.setting("device");
  if (!device) {
    return signedOutWords(null);
  }
  try {
    const response = await register(app, { ...device, name });
    if (!response.ok) {
      return await refusalOf(response);
    }
  } catch {
    return "No answer from the server: the phone keeps the name it had. Try again with signal.";
  }
  await app.store.setSetting("device", { ...device, name });
  return "";
}

/**
 * @param {App} app
 * @param {import("./types.js").DeviceSetting} device its key is "" before it was given one
 */
function register(app, { device_uuid, key, name }) {
  return call(app, DEVICES_ADDRESS, {
    method: "POST",
    body: JSON.stringify({ device_uuid, name, app_version: app.version }),
    headers: {
      "Content-Type": "application/json",
      "X-CSRFToken": cookie("csrftoken"),
      ...(key ? { "X-Device-Key": key } : {}),
    },
  });
}

/** @param {Response} response */
async function refusalOf(response) {
  const { error } = await response.json().catch(() => ({ error: null }));
  return error?.message ?? `The server did not take this phone (${response.status}).`;
}

/**
 * @param {App} app
 * @param {string} address
 * @param {RequestInit} request
 */
function call(app, address, request) {
  return (app.fetch ?? fetch)(address, {
    credentials: "same-origin",
    cache: "no-store",
    signal: AbortSignal.timeout(PING_TIMEOUT_MS),
    ...request,
  });
}

/** @param {string} name */
function cookie(name) {
  const found = document.cookie.split("; ").find((each) => each.startsWith(`${name}=`));
  return found ? decodeURIComponent(found.slice(name.length + 1)) : "";
}

/** Return what kind of phone this is, for the list of phones at the desk. */
function phoneName() {
  const agent = navigator.userAgent;
  const kind = /iPhone|iPad|Android|Windows|Macintosh|Linux/u.exec(agent)?.[0] ?? "phone";
  return `${kind}, ${new Date().toISOString().slice(0, 10)}`;
}
