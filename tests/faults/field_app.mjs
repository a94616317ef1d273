/**
 * Phones that run the field app's own code (its store, its recording, its queue) through the
 * faults, on a database in memory. Told what to do a line at a time; answers each with a line.
 */
import "fake-indexeddb/auto";

import { appendFileSync, readFileSync } from "node:fs";
import { request } from "node:http";
import { createInterface } from "node:readline";

import { recordAction } from "../../static/js/field/operations.js";
import { sendPhotos } from "../../static/js/field/photos.js";
import { sendWaiting } from "../../static/js/field/queue.js";
import { openStore } from "../../static/js/field/store.js";
import { dice } from "../js/support/field_phone.js";

const ANGLES = {
  observation_angle_deg: "0.2",
  entrance_angle_deg: "-4.0",
  rotation_angle_deg: null,
};
const ANSWER_OF = { acknowledged: "applied" };
const LONGEST_ANSWER_MS = 150_000; // as the other phones
const HURRIED = { isHurried: true };

const { world, phones: known, pictures, seed } = JSON.parse(process.argv[2]);
const PICTURES = pictures.map((path) => new Blob([readFileSync(path)], { type: "image/jpeg" }));
let base = "";

/** As fetch does it, on a connection of its own for each request. */
async function send(address, { method, headers, body }) {
  const bytes = Buffer.from(await new Response(body ?? "").arrayBuffer());
  return new Promise((resolve, reject) => {
    const whole = { ...headers, "Content-Length": bytes.length };
    const options = { method, headers: whole, agent: false };
    const sent = request(new URL(address, base), options, (answer) => {
      const pieces = [];
      answer.on("data", (piece) => pieces.push(piece));
      answer.on("error", reject);
      answer.on("end", () =>
        resolve(new Response(Buffer.concat(pieces), { status: answer.statusCode })),
      );
    });
    sent.on("error", reject);
    sent.setTimeout(LONGEST_ANSWER_MS, () => sent.destroy(new Error("no answer in time")));
    sent.end(bytes);
  });
}

class Phone {
  constructor(number, { user_id, key }) {
    this.number = number;
    this.roll = dice(seed + number);
    this.recorded = 0;
    this.tries = 0;
    this.corrected = new Set();
    this.epochs = [];
    const [device_uuid, secret] = key.split(":");
    this.settings = {
      device: { device_uuid, key: secret, name: `app ${number}` },
      person: { id: user_id, name: "of the crew" },
    };
  }

  async open() {
    const store = await openStore({ name: `phone-${this.number}` });
    await store.setSettings(this.settings);
    this.app = { store, version: "for tests", fetch: send };
  }

  pick(list) {
    return list[Math.floor(this.roll() * list.length)];
  }

  reading(sign, more = {}) {
    const values = (low, high) => {
      const around = low + this.roll() * (high - low);
      return [1, 2, 3, 4].map(() => (around * (0.97 + this.roll() * 0.06)).toFixed(1));
    };
    return {
      sign,
      how: "hand_held",
      surface_state: this.pick(["dry", "dirty", "dew", ""]),
      instrument_id: this.pick([null, ...world.instruments]),
      note: "",
      reading_sets: [
        { color: "white", values: values(30, 90), ...ANGLES },
        { color: "red", values: values(5, 25), ...ANGLES },
      ],
      observations: [],
      visual_rating: null,
      corrects: null,
      is_confirmed: true,
      shown: null,
      ...more,
    };
  }

  async record(kind, payload, more = {}) {
    this.recorded += 1;
    return recordAction(this.app, { kind, payload, sign: payload.sign ?? null, ...more });
  }

  /** The next thing this crew does: one operation, or two that hang together. */
  async act() {
    const sign = { id: this.pick(world.signs).sign_id };
    const kind = this.roll();
    if (kind < 0.06) {
      const sets = [{ color: "white", values: ["2500"], ...ANGLES }];
      await this.record("inspection", this.reading(sign, { reading_sets: sets }));
    } else if (kind < 0.12) {
      await this.record("check", {
        instrument_id: this.pick(world.instruments),
        moment: "before",
        reference_ra_cd_lx_m2: "80.0",
        shown_ra_cd_lx_m2: (78 + this.roll() * 4).toFixed(1),
      });
    } else if (kind < 0.18) {
      await this.record("flag_record", { sign, field: "size", said: "It is larger." });
    } else if (kind < 0.24) {
      const made = await this.record("add_sign", {
        support: { id: this.pick(world.signs).support_id },
        sign_code: "R1-1",
        mount: "post",
        colours: [{ part: "background", color: "red" }],
      });
      const of = { operation: made.client_uuid };
      await this.record("inspection", this.reading(of), { needs: [made.client_uuid] });
    } else {
      await this.record("inspection", this.reading(sign), { photos: this.photos() });
    }
  }

  /** One reading in six has a photo, some of them of several pieces. */
  photos() {
    return this.roll() < 1 / 6 ? [{ blob: this.pick(PICTURES), role: "seen" }] : [];
  }

  /** Send what waits; after an answer that did not come, wait a little as the queue does. */
  async send(options = HURRIED) {
    const outcome = await sendWaiting(this.app, options);
    if (outcome.state === "done") {
      return true;
    }
    if (outcome.state !== "offline" && outcome.state !== "busy") {
      throw new Error(`phone ${this.number}: ${outcome.state} ${outcome.sentence}`);
    }
    await this.rest();
    return false;
  }

  async run(wanted) {
    while (this.recorded < wanted) {
      for (let left = 1 + Math.floor(this.roll() * 12); left > 0; left -= 1) {
        await this.act();
      }
      if (this.roll() < 0.4) {
        await this.send();
      }
    }
    do {
      while (!(await this.send()));
    } while (await this.correct());
    await this.sendPhotos();
  }

  /** Send photos until the server has all those of operations that it has. */
  async sendPhotos() {
    while ((await sendPhotos(this.app)).left > 0) {
      await this.rest();
    }
  }

  async rest() {
    this.tries += 1;
    await new Promise((resolve) => setTimeout(resolve, 20 + this.roll() * 300));
  }

  /** Record anew what was refused; return whether there was any. */
  async correct() {
    const refused = await this.app.store.operations({ states: ["refused"], limit: Infinity });
    const open = refused.filter(({ client_uuid }) => !this.corrected.has(client_uuid));
    for (const { client_uuid } of open) {
      this.corrected.add(client_uuid);
      const sign = { id: this.pick(world.signs).sign_id };
      await this.record("inspection", this.reading(sign), { replaces: client_uuid });
    }
    return open.length > 0;
  }

  async checkIn() {
    while (!(await this.send({ ...HURRIED, isCheckIn: true })));
    await this.sendPhotos();
    return this.app.store.setting("epoch");
  }

  /** Write everything the phone holds, as the other phones' files have it. */
  async write(path) {
    const operations = await this.app.store.operations({ limit: Infinity });
    const epoch = await this.app.store.setting("epoch");
    const lines = operations.flatMap((each) => [
      {
        saved: each.client_uuid,
        sequence: each.sequence,
        kind: each.kind,
        content: each.content,
      },
      {
        answer: {
          client_uuid: each.client_uuid,
          answer: ANSWER_OF[each.state] ?? each.state,
        },
      },
    ]);
    const text = [{ epoch }, ...lines].map((line) => `${JSON.stringify(line)}\n`).join("");
    appendFileSync(path, text);
    return operations.length;
  }
}

const phones = known.map((each, number) => new Phone(number, each));
const all = (work) => Promise.all(phones.map(work));

const COMMANDS = {
  async run({ wanted }) {
    await all((phone) => phone.run(wanted));
    return { recorded: phones.reduce((sum, phone) => sum + phone.recorded, 0) };
  },
  async check_in() {
    const epochs = await all((phone) => phone.checkIn());
    return { epochs };
  },
  async write({ folder }) {
    const counts = await all((phone) => phone.write(`${folder}/app-${phone.number}.jsonl`));
    return { operations: counts, tries: phones.reduce((sum, phone) => sum + phone.tries, 0) };
  },
};

await all((phone) => phone.open());
for await (const line of createInterface({ input: process.stdin })) {
  const { command, address, ...rest } = JSON.parse(line);
  base = address ?? base;
  const answer = await COMMANDS[command](rest);
  process.stdout.write(`${JSON.stringify(answer)}\n`);
}
