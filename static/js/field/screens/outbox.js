/**
 * Everything this phone recorded: what was refused, what waits, and what the server has.
 *
 * @module
 */
import { clear, h, put } from "../dom.js";
import { clockTime, dayWords } from "../day_words.js";
import { deviceDay } from "../clock.js";
import { exportOutbox, offerFile, outboxName } from "../outbox_file.js";
import { aboutWords } from "../about.js";
import { actBar, notice, primaryButton, section } from "../pieces.js";
import { contentOf, recordedWords, stateWords } from "../recorded_words.js";
import { makeHash } from "../router.js";

/** @typedef {import("../page.js").App} App */
/** @typedef {import("../types.js").StoredOperation} StoredOperation */
/** @typedef {import("../types.js").OperationState} OperationState */

const PER_PAGE = 20;

/** @type {Record<string, string>} the forms that take photos, by the first word of their address */
const FORM_WORDS = {
  damage: "report of damage",
  night: "look by night",
  note: "note",
  remove: "taking a face down",
  install: "putting up a new face",
  "add-sign": "sign to add",
};

/** @type {{ heading: string, states: OperationState[], advice: string, isOpenOnly: boolean }[]} */
const GROUPS = [
  {
    heading: "Refused: put these right",
    states: ["refused"],
    advice: "The server did not take these. Open one to put it right and send it again, or to discard it.",
    isOpenOnly: true,
  },
  {
    heading: "With your engineer",
    states: ["held"],
    advice: "These are on the server and wait: for a decision, or for another record to come first.",
    isOpenOnly: true,
  },
  { heading: "To send", states: ["waiting", "sent"], advice: "", isOpenOnly: false },
];

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, _params, app) {
  const counts = h("p", { role: "status", "data-counts": "" });
  const trouble = h("div", { role: "status" });
  const groups = GROUPS.map((given) => new Group(app, given));
  const photos = h("div");
  const left = h("div");
  const earlier = new Earlier(app);
  const tryNow = async () => {
    clear(trouble, h("p", null, "Sending…"));
    const outcome = await app.queue.send({ isHurried: true });
    clear(trouble, outcome.sentence ? notice("warn", h("p", null, outcome.sentence)) : null);
    await draw();
  };
  const send = primaryButton("Send now", tryNow, { "data-send-now": true });
  const act = actBar(send);
  const draw = async () => {
    const count = await app.store.counts();
    await Promise.all([...groups, earlier].map((each) => each.draw()));
    clear(photos, await photosPiece(app));
    clear(left, await leftPiece(app));
    counts.textContent = countsSentence(count);
    const isWaiting = count.waiting + count.photos > 0;
    send.textContent = isWaiting ? "Send now" : "Ask for news";
    act.hidden = !isWaiting && count.held + count.refused === 0;
  };
  put(
    place,
    h("h1", null, "To send"),
    counts,
    trouble,
    left,
    groups.map((each) => each.element),
    photos,
    earlier.element,
    section(
      "As a file",
      h(
        "p",
        { class: "small" },
        "If this phone cannot send at all: everything that waits, with its photos, as one file for your engineer. Nothing is removed here.",
      ),
      h(
        "button",
        { type: "button", class: "button", onclick: () => keepAsFile(app, trouble) },
        "Save as a file",
      ),
    ),
    act,
  );
  const stop = app.store.onChange(() => void draw());
  app.leaving().addEventListener("abort", stop);
  await draw();
}

/** What is open in one way, page by page. */
class Group {
  /**
   * @param {App} app
   * @param {typeof GROUPS[number]} given
   */
  constructor(app, given) {
    this.app = app;
    this.given = given;
    this.shown = PER_PAGE;
    this.element = h("div");
  }

  async draw() {
    const { heading, states, advice, isOpenOnly } = this.given;
    const all = await this.app.store.operations({ states, limit: Infinity });
    const found = isOpenOnly ? all.filter((each) => each.replaced_by === null) : all;
    const shown = found.slice(0, this.shown);
    const lines = await Promise.all(shown.map((each) => linePiece(this.app, each)));
    clear(
      this.element,
      found.length
        ? section(
            heading,
            advice ? h("p", { class: "small" }, advice) : null,
            h("ul", { class: "plain lines" }, lines),
            found.length > shown.length ? moreButton(() => this.more()) : null,
          )
        : null,
    );
  }

  more() {
    this.shown += PER_PAGE;
    void this.draw();
  }
}

/** What the server has or what was taken back, page by page. */
class Earlier {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.shown = PER_PAGE;
    this.list = h("div");
    this.element = h(
      "details",
      { ontoggle: () => void this.draw() },
      h("summary", null, "Sent in the last 30 days"),
      this.list,
    );
  }

  async draw() {
    if (!this.element.open) {
      return;
    }
    const found = await this.app.store.operations({ limit: this.shown + 1 });
    const all = found.filter((each) => isSettled(each));
    const lines = await Promise.all(
      all.slice(0, this.shown).map((each) => linePiece(this.app, each)),
    );
    clear(
      this.list,
      lines.length
        ? h("ul", { class: "plain lines" }, lines)
        : h("p", { class: "soft" }, "Nothing yet."),
      found.length > this.shown ? moreButton(() => this.more()) : null,
    );
  }

  more() {
    this.shown += PER_PAGE;
    void this.draw();
  }
}

/**
 * @param {StoredOperation} operation
 * @returns {boolean}
 */
function isSettled({ state, replaced_by }) {
  const isOpen = ["waiting", "sent"].includes(state) || (
    ["held", "refused"].includes(state) && replaced_by === null
  );
  return !isOpen;
}

/**
 * @param {{ waiting: number, held: number, refused: number, photos: number }} counts
 * @returns {string}
 */
function countsSentence({ waiting, held, refused, photos }) {
  const said = [
    waiting ? `${waiting} to send` : "",
    photos ? `${photos} ${photos === 1 ? "photo" : "photos"} to send` : "",
    refused ? `${refused} refused` : "",
    held ? `${held} with your engineer` : "",
  ].filter(Boolean);
  return said.length
    ? `${said.join(", ")}.`
    : "Everything recorded on this phone is on the server.";
}

/**
 * @param {() => void} onTap
 * @returns {HTMLElement}
 */
function moreButton(onTap) {
  return h("button", { type: "button", class: "button", onclick: onTap }, "Show more");
}

/**
 * Return one line: what it was, about which sign, when, and the server's own sentence.
 *
 * @param {App} app
 * @param {StoredOperation} operation
 * @returns {Promise<HTMLElement>}
 */
async function linePiece(app, operation) {
  const { title, lines } = recordedWords(contentOf(operation), app.basics);
  const about = await aboutWords(app, operation);
  const why = ["refused", "held"].includes(operation.state) ? operation.answer?.sentence : "";
  return h(
    "li",
    { "data-operation": operation.client_uuid, "data-state": operation.state },
    h(
      "a",
      { class: "recorded-line", href: makeHash("#/outbox/:uuid", { uuid: operation.client_uuid }) },
      h("span", null, h("strong", null, title), about ? `, ${about}` : ""),
      lines[0] ? h("span", { class: "small" }, lines[0]) : null,
      h(
        "span",
        { class: "small soft" },
        `${whenWords(operation.recorded_at_ms)}, ${stateWords(operation)}`,
      ),
      why ? h("span", { class: "small why" }, why) : null,
    ),
  );
}

/**
 * @param {App} app
 * @returns {Promise<HTMLElement | null>}
 */
async function photosPiece(app) {
  const photos = (await app.store.photosNotStored()).filter((photo) => photo.is_here);
  if (photos.length === 0) {
    return null;
  }
  const total = photos.reduce((sum, photo) => sum + photo.size_bytes, 0);
  const sent = photos.reduce((sum, photo) => sum + photo.sent_bytes, 0);
  const refused = photos.filter((photo) => photo.state === "refused");
  return section(
    photos.length === 1 ? "1 photo" : `${photos.length} photos`,
    h("progress", { max: total, value: sent, "aria-label": "Photos sent" }),
    h(
      "p",
      { class: "small soft" },
      `${megabytes(sent)} of ${megabytes(total)} MB sent. A photo follows its record; nothing waits for it.`,
    ),
    refused.map((photo) => notice("warn", h("p", null, photo.sentence))),
  );
}

/**
 * Return the forms that hold photos and were left before they were saved.
 *
 * @param {App} app
 * @returns {Promise<HTMLElement | null>}
 */
async function leftPiece(app) {
  const forms = await app.store.formsWithPhotos();
  return forms.length
    ? section(
        "Photos not saved yet",
        h(
          "p",
          { class: "small" },
          "These forms were left before they were saved. Open one to save it, or to leave its photos out.",
        ),
        h(
          "ul",
          { class: "plain lines" },
          forms.map(({ hash, taken_at_ms, count }) =>
            h(
              "li",
              null,
              h(
                "a",
                { class: "recorded-line", href: hash },
                h("strong", null, count === 1 ? "1 photo" : `${count} photos`),
                h("span", { class: "small soft" }, `${formWords(hash)}, ${whenWords(taken_at_ms)}`),
              ),
            ),
          ),
        ),
      )
    : null;
}

/**
 * @param {string} hash
 * @returns {string} what the form is for
 */
function formWords(hash) {
  return FORM_WORDS[hash.split("/")[1]?.split("?")[0] ?? ""] ?? "a form";
}

/**
 * @param {number} bytes
 * @returns {string}
 */
function megabytes(bytes) {
  return (bytes / 1_000_000).toFixed(1);
}

/**
 * @param {number} at_ms
 * @returns {string}
 */
export function whenWords(at_ms) {
  const at = new Date(at_ms);
  return `${dayWords(deviceDay(at))}, ${clockTime(at)}`;
}

/**
 * @param {App} app
 * @param {HTMLElement} trouble
 */
async function keepAsFile(app, trouble) {
  const device = await app.store.setting("device");
  const name = outboxName(device?.device_uuid ?? null, app.now());
  offerFile(await exportOutbox(app.store), name);
  clear(
    trouble,
    notice(
      "",
      h(
        "p",
        null,
        `Saved as ${name}, among this phone’s downloads. Give it to your engineer; everything stays here as well.`,
      ),
    ),
  );
}
