/** The field app's own modules, put into a page of a test to record and look without screens. */
import { takeArea } from "../../static/js/field/carrying.js";
import { recordAction } from "../../static/js/field/operations.js";
import { sendWaiting } from "../../static/js/field/queue.js";
import { openStore } from "../../static/js/field/store.js";

const version = document.documentElement.dataset.version ?? "test";

/** Record notes on a sign; `told` hears of each once it is said to be saved. */
async function recordNotes(signId, count, { photo_bytes = 0, told, options } = {}) {
  const store = await openStore(options);
  const uuids = [];
  for (let n = 1; n <= count; n += 1) {
    const photos = photo_bytes
      ? [{ blob: new Blob([new Uint8Array(photo_bytes).fill(n % 256)]), role: "seen" }]
      : [];
    const operation = await recordAction(
      { store, version },
      {
        kind: "inspection",
        sign: { id: signId },
        payload: {
          sign: { id: signId },
          how: "visual_day",
          surface_state: "",
          instrument_id: null,
          note: `note ${n}`,
          reading_sets: [],
          observations: [],
          visual_rating: null,
          corrects: null,
          is_confirmed: false,
          shown: null,
        },
        photos,
      },
    );
    uuids.push(operation.client_uuid);
    if (told) {
      await told(operation.client_uuid);
    }
  }
  store.close();
  return uuids;
}

/** Say of everything kept: its number, state, and whether text, hash and photos are whole. */
async function look() {
  const store = await openStore();
  const kept = await store.operations({ limit: Infinity });
  const said = [];
  for (const operation of kept.reverse()) {
    const text = new TextEncoder().encode(operation.content);
    const digest = new Uint8Array(await crypto.subtle.digest("SHA-256", text));
    const hex = [...digest].map((each) => each.toString(16).padStart(2, "0")).join("");
    const announced = JSON.parse(operation.content).photos;
    const photos = await Promise.all(announced.map((photo) => store.photo(photo.photo_uuid)));
    said.push({
      client_uuid: operation.client_uuid,
      sequence: operation.sequence,
      state: operation.state,
      device_at: JSON.parse(operation.content).device_at,
      sentence: operation.answer?.sentence ?? "",
      is_whole:
        hex === operation.sha256 &&
        photos.every((photo, at) => photo?.blob.size === announced[at].size_bytes),
    });
  }
  const schema = store.database.version;
  store.close();
  return { operations: said, schema };
}

/** Whether the server knows this phone and who holds it. */
async function isRegistered() {
  const store = await openStore();
  const device = await store.setting("device");
  store.close();
  return device !== null;
}

/** Make a phone of an older schema, with somebody who signed in on it. */
async function seed(version) {
  const store = await openStore({ version });
  await store.setSetting("person", { id: 1, name: "Ada Brook" });
  store.close();
}

/** Whether what is recorded now goes under this person's name. */
async function isHeldBy(personId) {
  const store = await openStore();
  const found = await store.setting("person");
  store.close();
  return found?.id === personId;
}

/** Take along everything in a box. */
async function carry(box) {
  const store = await openStore();
  const app = { store, now: () => new Date(), refreshBasics: async () => undefined };
  const wanted = { id: "area:test", title: "test", kind: "area", package_id: null, box };
  const area = await takeArea(app, wanted, () => undefined);
  store.close();
  return area.sign_count;
}

async function send() {
  const store = await openStore();
  const outcome = await sendWaiting({ store, version }, { isHurried: true });
  store.close();
  return outcome;
}

globalThis.probe = { carry, isHeldBy, isRegistered, look, recordNotes, seed, send };
