/**
 * A sign or a place as it is now on this phone: what the server said when the area was taken
 * along, with what was recorded here since laid over it.
 *
 * @module
 */

import { contentOf, keyOfRef, recordedWords, stateWords } from "./recorded_words.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./types.js").StoredOperation} StoredOperation */
/** @typedef {import("./types.js").Ref} Ref */

/**
 * @typedef {object} Recorded
 * @property {string} client_uuid
 * @property {boolean} is_look whether it is a look at night
 * @property {string} title
 * @property {string[]} lines
 * @property {string} state where it stands, in words
 * @property {number} at_ms
 */

/**
 * @typedef {object} Subject
 * @property {string} key as it stands in an address
 * @property {string} signKey as operations are looked up by
 * @property {Ref} ref what goes into a payload
 * @property {string[]} needs operations that have to be applied before one about this
 * @property {Record<string, any> | null} sign null where nothing stands
 * @property {Record<string, any> | null} position
 * @property {Record<string, any> | null} support
 * @property {Recorded[]} recorded the newest first
 */

const OPEN = /** @type {const} */ (["waiting", "sent", "held", "acknowledged"]);
const SHOWN = /** @type {const} */ ([...OPEN, "refused"]);
const MOST_SHOWN = 20;

/**
 * Return a sign by the server's id, or by the operation that puts it on record.
 *
 * @param {App} app
 * @param {string} key
 * @param {string} [without] an operation that is being put right: as if it were not there
 * @returns {Promise<Subject | null>} null when this phone knows nothing of it
 */
export async function loadSubject(app, key, without = "") {
  const subject = /^\d+$/.test(key)
    ? await carriedSubject(app, Number(key))
    : await madeSubject(app, key);
  if (subject?.position) {
    const standing = subject.position.id
      ? await installedHere(app, `position:${subject.position.id}`, without)
      : null;
    if (subject.sign && standing && keyOfRef(standing.ref) !== subject.key) {
      subject.sign = { ...subject.sign, state: "removed", followed_by: keyOfRef(standing.ref) };
    }
  }
  return subject && withRecorded(app, subject);
}

/**
 * Return a place, with the face that stands there now.
 *
 * @param {App} app
 * @param {string} key the server's id, or the uuid of the operation that made it
 * @param {string} [without] an operation that is being put right: as if it were not there
 * @returns {Promise<(Subject & { placeRef: Ref, placeKey: string }) | null>}
 */
export async function loadPlace(app, key, without = "") {
  if (!/^\d+$/.test(key)) {
    const made = await loadSubject(app, key, without);
    return made && { ...made, placeRef: { operation: key }, placeKey: made.signKey };
  }
  const position = await app.store.position(Number(key));
  if (!position) {
    return null;
  }
  const placeKey = `position:${key}`;
  const place = { placeRef: { id: position.id }, placeKey };
  const put = await installedHere(app, placeKey, without);
  const signKey = put ? keyOfRef(put.ref) : position.sign_id ? String(position.sign_id) : "";
  const stands = signKey ? await loadSubject(app, signKey, without) : null;
  if (stands) {
    return { ...stands, ...place };
  }
  const empty = {
    key: "",
    signKey: placeKey,
    ref: { id: position.id },
    needs: [],
    sign: null,
    position,
    support: await supportNow(app, position.support_id),
    recorded: [],
  };
  return { ...(await withRecorded(app, empty)), ...place };
}

/**
 * Return a support with what was moved on this phone.
 *
 * @param {App} app
 * @param {number} id
 * @returns {Promise<Record<string, any> | null>}
 */
export async function supportNow(app, id) {
  const support = (await app.store.support(id)) ?? null;
  const [move] = await since(app, `support:${id}`, OPEN, support);
  if (!support || !move) {
    return support;
  }
  const { latitude_deg, longitude_deg, accuracy_m } = contentOf(move).payload;
  return { ...support, latitude_deg, longitude_deg, accuracy_m, is_moved: true };
}

/**
 * @param {Subject} subject
 * @returns {string}
 */
export function positionKeyOf(subject) {
  return subject.position?.id ? `position:${subject.position.id}` : subject.signKey;
}

/**
 * @param {App} app
 * @param {number} id
 * @returns {Promise<Subject | null>}
 */
async function carriedSubject(app, id) {
  const sign = (await app.store.sign(id)) ?? null;
  if (!sign) {
    return stockSubject(app, id);
  }
  const position = sign.position_id ? ((await app.store.position(sign.position_id)) ?? null) : null;
  return {
    key: String(id),
    signKey: `sign:${id}`,
    ref: { id },
    needs: [],
    sign,
    position,
    support: position ? await supportNow(app, position.support_id) : null,
    recorded: [],
  };
}

/**
 * A face of the stock that was put up on this phone.
 *
 * @param {App} app
 * @param {number} id
 * @returns {Promise<Subject | null>}
 */
async function stockSubject(app, id) {
  const recorded = await app.store.operations(
    { sign: `sign:${id}`, states: [...OPEN], limit: MOST_SHOWN },
  );
  const put = recorded.find((each) => each.kind === "install");
  return put ? madeSubject(app, put.client_uuid) : null;
}

/**
 * A sign that an operation of this phone puts on record.
 *
 * @param {App} app
 * @param {string} uuid
 * @returns {Promise<Subject | null>}
 */
async function madeSubject(app, uuid) {
  const operation = await latestOf(app, uuid);
  const isTakenBack = ["withdrawn", "discarded"].includes(operation?.state ?? "");
  if (!operation || isTakenBack || !["add_sign", "install"].includes(operation.kind)) {
    return null;
  }
  const signId = operation.answer?.result?.sign_id;
  const known = operation.state === "acknowledged" && signId ? await app.store.sign(signId) : null;
  if (known) {
    return carriedSubject(app, known.id);
  }
  const { payload } = contentOf(operation);
  const made = operation.kind === "install" ? await putUp(app, payload) : await added(app, payload);
  return {
    key: uuid,
    signKey: `operation:${uuid}`,
    ref: { operation: uuid },
    needs: operation.state === "acknowledged" ? [] : [operation.client_uuid],
    ...made,
    recorded: [],
  };
}

/**
 * Follow an operation to the one recorded in its place.
 *
 * @param {App} app
 * @param {string} uuid
 * @returns {Promise<StoredOperation | null>}
 */
async function latestOf(app, uuid) {
  let operation = await app.store.operation(uuid);
  while (operation?.replaced_by) {
    const next = await app.store.operation(operation.replaced_by);
    if (!next || next.kind === "discard") {
      break;
    }
    operation = next;
  }
  return operation;
}

/**
 * @param {App} app
 * @param {Record<string, any>} payload of an install
 */
async function putUp(app, payload) {
  const face = await faceOf(app, payload.face);
  const place = await placeOf(app, payload.position);
  const sign = {
    state: "installed",
    label_id: payload.face.label ?? face?.label_id ?? "",
    code: face?.code ?? place.position?.asks?.code ?? place.position?.code ?? "",
    name: place.position?.name ?? "",
    variant: face?.variant ?? place.position?.variant ?? "",
    legend_text: face?.legend_text ?? place.position?.legend_text ?? "",
    width_in: face?.width_in ?? null,
    height_in: face?.height_in ?? null,
    fabricated_on: face?.fabricated_on ?? null,
    installed_on: payload.installed_on,
    drawing: face?.drawing ?? place.position?.drawing ?? null,
    plan: face?.plan ?? null,
    colours: face?.colours ?? [],
    ...NOTHING_YET,
  };
  return { sign, ...place };
}

/**
 * @param {App} app
 * @param {Record<string, any>} payload of an add_sign
 */
async function added(app, payload) {
  const support = payload.support.new
    ? { ...payload.support.new, road: "" }
    : payload.support.id
      ? await supportNow(app, payload.support.id)
      : null;
  const seen = {
    code: payload.sign_code,
    name: "",
    variant: payload.variant,
    legend_text: payload.legend_text,
    width_in: payload.width_in,
    height_in: payload.height_in,
  };
  const name = (app.basics?.codes ?? []).find(
    (/** @type {any} */ [code]) => code === payload.sign_code,
  )?.[1] ?? "";
  const sign = {
    ...seen,
    name,
    state: "installed",
    label_id: payload.label_id ?? "",
    installed_on: null,
    fabricated_on: null,
    drawing: null,
    plan: null,
    colours: payload.colours.map((/** @type {any} */ each) => each.color).filter(Boolean),
    ...NOTHING_YET,
  };
  const position = {
    ...seen,
    name,
    facing_deg: payload.facing_deg,
    mount: payload.mount,
    order_on_support: payload.order_on_support,
  };
  return { sign, position, support };
}

const NOTHING_YET = Object.freeze({
  standing: null,
  readings: [],
  last_readings: [],
  damage: [],
  photo_ids: [],
  history: [],
  is_new_here: true,
});

/**
 * Return a face of the stock this phone carries.
 *
 * @param {App} app
 * @param {{ id?: number, label?: string }} face
 * @returns {Promise<Record<string, any> | null>}
 */
export async function faceOf(app, face) {
  if (face.label) {
    const found = await app.store.byLabel(face.label);
    return found?.kind === "face" ? found.face : null;
  }
  return (await app.store.stock()).find((each) => each.id === face.id) ?? null;
}

/**
 * @param {App} app
 * @param {Ref} ref of a position
 */
async function placeOf(app, ref) {
  if (!("id" in ref)) {
    const made = await madeSubject(app, ref.operation);
    return { position: made?.position ?? null, support: made?.support ?? null };
  }
  const position = (await app.store.position(ref.id)) ?? null;
  return { position, support: position ? await supportNow(app, position.support_id) : null };
}

/**
 * Return what was put up at a place on this phone and still stands there.
 *
 * @param {App} app
 * @param {string} placeKey
 * @param {string} without
 * @returns {Promise<{ ref: Ref } | null>}
 */
async function installedHere(app, placeKey, without) {
  const position = placeKey.startsWith("position:")
    ? await app.store.position(Number(placeKey.slice("position:".length)))
    : null;
  const found = await since(app, placeKey, OPEN, position, "install");
  const put = found.find((each) => each.client_uuid !== without);
  return put ? { ref: { operation: put.client_uuid } } : null;
}

/**
 * Return the operations about something that its copy on this phone does not know of yet.
 *
 * @param {App} app
 * @param {string} signKey
 * @param {readonly import("./types.js").OperationState[]} states
 * @param {Record<string, any> | null} carried
 * @param {string} [kind]
 * @returns {Promise<StoredOperation[]>} the newest first
 */
async function since(app, signKey, states, carried, kind) {
  const found = await app.store.operations({ sign: signKey, states, limit: MOST_SHOWN });
  const copied_at_ms = await takenAtMs(app, carried);
  // The server's clock is held against the phone's, by which the copy was taken.
  const skew_ms = (app.connection?.skew_s ?? 0) * 1000;
  return found.filter((each) => {
    const known_at_ms = Math.max(each.recorded_at_ms, (each.acknowledged_at_ms ?? 0) - skew_ms);
    const isNews = each.state !== "acknowledged" || known_at_ms > copied_at_ms;
    return (!kind || each.kind === kind) && !each.replaced_by && isNews;
  });
}

/**
 * Return when a row was taken along; never for one made on this phone.
 *
 * @param {App} app
 * @param {Record<string, any> | null} row
 * @returns {Promise<number>}
 */
async function takenAtMs(app, row) {
  const ids = new Set(row?.areas ?? []);
  const areas = (await app.store.areas()).filter((area) => ids.has(area.id));
  return Math.max(0, ...areas.map((area) => area.taken_at_ms));
}

/**
 * Lay what was recorded here over a sign.
 *
 * @template {Subject} T
 * @param {App} app
 * @param {T} subject
 * @returns {Promise<T>}
 */
async function withRecorded(app, subject) {
  const keys = [
    ...new Set(
      [
        subject.signKey,
        positionKeyOf(subject),
        subject.support?.id ? `support:${subject.support.id}` : "",
      ],
    ),
  ].filter(Boolean);
  const lists = await Promise.all(keys.map((each) => since(app, each, SHOWN, subject.sign)));
  const operations = lists.flat().sort((a, b) => b.sequence - a.sequence);
  let { sign } = subject;
  for (const operation of operations.filter((each) => each.state !== "refused").reverse()) {
    const content = contentOf(operation);
    if (sign && operation.kind === "remove") {
      sign = { ...sign, state: "removed", removed_on: content.payload.removed_on };
    } else if (sign && operation.kind === "inspection" && operation.sign_key === subject.signKey) {
      sign = { ...sign, damage: [...seenNow(content, app), ...sign.damage] };
    }
  }
  const recorded = operations.map((operation) => {
    const content = contentOf(operation);
    const said = recordedWords(content, app.basics);
    return {
      client_uuid: operation.client_uuid,
      is_look: Boolean(content.payload.visual_rating) && operation.state !== "refused",
      ...said,
      state: stateWords(operation),
      at_ms: operation.recorded_at_ms,
    };
  });
  return { ...subject, sign, recorded };
}

/**
 * @param {Record<string, any>} content of an inspection
 * @param {App} app
 * @returns {Record<string, any>[]}
 */
function seenNow(content, app) {
  return (content.payload.observations ?? []).map((/** @type {any} */ seen) => ({
    kind: seen.kind,
    severity: seen.severity,
    words: recordedWords(
      { kind: "inspection", payload: { observations: [seen] } },
      app.basics,
    ).lines[0],
    seen_on: content.device_at.slice(0, "2026-11-25".length),
  }));
}
