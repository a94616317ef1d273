/**
 * One sign: what it is, how it stands and why, what was read and seen, and what can be done.
 *
 * @module
 */
import { dayWords } from "../day_words.js";
import { h, put } from "../dom.js";
import { identifiedOf, identifiedQuery, identifiedWords } from "../identified.js";
import {
  actBar,
  linkButton,
  notice,
  primaryLink,
  section,
  standingMark,
  verdictMark,
} from "../pieces.js";
import { openJudge } from "../reading_judge.js";
import { recordedReadings } from "../readings_of_sign.js";
import { makeHash } from "../router.js";
import { notCarried, signHead } from "../sign_head.js";
import { faceName } from "../sign_lines.js";
import { faceWords, labelToPutUp, timeWords } from "../stop_words.js";
import { stopNow } from "../stops_now.js";
import { loadSubject } from "../subject.js";
import { orderWords } from "../way_words.js";

/** @typedef {import("../page.js").App} App */
/** @typedef {import("../subject.js").Subject} Subject */
/** @typedef {Record<string, any>} Sign */
/** @typedef {Record<string, string | number | null | undefined>} Query */

/** Where a scanned label of a face in stock is remembered. */
const FACE_IN_HAND = "face_in_hand";
const FIND_HASH = "#/near";

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const subject = await loadSubject(app, params.sign);
  if (!subject?.sign) {
    notCarried(place, "Sign");
    return undefined;
  }
  const { sign } = subject;
  const identified = identifiedOf(params);
  const query = { ...identifiedQuery(identified), stop: params.stop };
  const isRead = (await recordedReadings(app, subject)).length > 0;
  const answer = isRead ? (await openJudge(app, subject, null))([]) : null;
  const stop = params.stop ? await app.store.stop(Number(params.stop)) : null;
  put(place, h("h1", null, faceName(sign)), await signHead(app, subject, { isNamed: false }));
  put(place, stateNotice(sign, query), stop ? stopNotice(stop, sign) : null);
  put(
    place,
    standingSection(sign, isRead, answer),
    actions(subject, query, app.memory.get(FACE_IN_HAND) ?? labelToPutUp(stop)),
  );
  put(place, recordedSection(subject), readingsSection(sign), damageSection(sign));
  put(
    place,
    await factsSection(app, subject, identified),
    historySection(sign),
    await photoSection(app, sign),
  );
  put(place, await actOf(app, subject, query, stop, isRead));
  return { placeName: subject.support?.road ?? "" };
}

/**
 * @param {Sign} sign
 * @param {Query} query
 * @returns {HTMLElement | null}
 */
function stateNotice(sign, query) {
  if (sign.state === "removed") {
    return notice(
      "warn",
      h(
        "p",
        null,
        `This face was taken down${sign.removed_on ? ` on ${dayWords(sign.removed_on)}` : ""}.`,
      ),
      sign.followed_by
        ? linkButton(
            "Open the face that took its place",
            makeHash("#/sign/:sign", { sign: sign.followed_by, ...query }),
          )
        : null,
    );
  }
  return sign.state === "in_stock"
    ? notice("", h("p", null, "This face is not on a post yet."))
    : null;
}

/**
 * @param {Record<string, any>} stop
 * @param {Sign} sign
 * @returns {HTMLElement}
 */
function stopNotice(stop, sign) {
  return notice(
    "",
    h("p", null, h("strong", null, `Stop ${stop.number}: ${stop.task_words}`)),
    [timeWords(stop), faceWords(stop, sign), stop.note]
      .filter(Boolean)
      .map((words) => h("p", null, words)),
  );
}

/**
 * @param {Sign} sign
 * @param {boolean} isRead whether readings of it were recorded on this phone
 * @param {import("../../shared/verdict/types.js").Answer | null} answer what they come to; null
 *   where this phone cannot tell
 * @returns {HTMLElement}
 */
function standingSection(sign, isRead, answer) {
  if (isRead) {
    return section(
      "How it stands",
      h("p", { class: "big-mark" }, answer ? verdictMark(answer.verdict) : "Read, not judged yet"),
      answer ? h("p", null, answer.reason) : null,
      h("p", { class: "soft" }, "By the readings saved on this phone."),
    );
  }
  const { standing } = sign;
  return section(
    "How it stands",
    standing
      ? h("p", { class: "big-mark" }, standingMark(standing.mark, standing.word))
      : h("p", null, "Not judged yet: no readings are on record."),
    standing ? h("p", null, standing.reason) : null,
    standing?.is_due && standing.due_reason ? h("p", null, `Due: ${standing.due_reason}`) : null,
    standing?.forecast_due_on
      ? h("p", { class: "soft" }, `Due about ${dayWords(standing.forecast_due_on)}, by forecast.`)
      : null,
  );
}

/**
 * @param {Subject} subject
 * @param {Query} query
 * @param {string | undefined} face label of a face that was scanned to be put up
 * @returns {HTMLElement}
 */
function actions({ key, sign, position, support }, query, face) {
  const at = (/** @type {string} */ screen) =>
    makeHash(`#/${screen}/:sign`, { sign: key, ...query });
  const isUp = sign?.state === "installed";
  const positionKey = position?.id ?? key;
  return section(
    "Do something else",
    h(
      "div",
      { class: "button-pair" },
      isUp
        ? [
            linkButton("Damage or missing", at("damage")),
            linkButton("Look at night", at("night")),
            linkButton(
              "New face here",
              makeHash("#/install/:position", { position: positionKey, face, ...query }),
            ),
            linkButton("Take it down", at("remove")),
          ]
        : null,
      linkButton("Work needed here", makeHash("#/add-work/:position", { position: positionKey })),
      linkButton("Note", at("note")),
      linkButton("Wrong data", at("wrong-data")),
      support?.id
        ? linkButton(
            "Move the support",
            makeHash("#/move/:support", { support: support.id, ...query }),
          )
        : null,
      support?.id
        ? linkButton("Add a sign here", makeHash("#/add-sign/:support", { support: support.id }))
        : null,
    ),
  );
}

/**
 * @param {Subject} subject
 * @returns {HTMLElement | null}
 */
function recordedSection({ recorded }) {
  return recorded.length
    ? section(
        "Recorded on this phone",
        h(
          "ul",
          { class: "lines" },
          recorded.map((each) =>
            h(
              "li",
              null,
              h(
                "a",
                {
                  class: "record-line",
                  href: makeHash("#/outbox/:uuid", { uuid: each.client_uuid }),
                },
                h("strong", null, each.title),
                each.lines.map((line) => h("span", null, line)),
                h("span", { class: "small soft" }, each.state),
              ),
            ),
          ),
        ),
      )
    : null;
}

/**
 * @param {Sign} sign
 * @returns {HTMLElement}
 */
function readingsSection(sign) {
  const read = /** @type {Record<string, any>[]} */ (sign.last_readings ?? []);
  return section(
    "Last readings",
    read.length
      ? h(
          "ul",
          { class: "lines" },
          read.map((each) =>
            h(
              "li",
              { class: "reading-line" },
              h(
                "span",
                null,
                h("strong", null, capital(each.color.replaceAll("-", " "))),
                ` ${each.mean} cd/lx/m²`,
              ),
              h(
                "span",
                { class: "soft small" },
                `mean of ${each.count}, ${dayWords(each.taken_on)}; ${each.level ? `level ${each.level}` : "no level"}`,
              ),
              each.not_judged
                ? h("span", { class: "small" }, `Kept but not judged: ${each.not_judged}`)
                : each.verdict
                  ? verdictMark(each.verdict)
                  : null,
            ),
          ),
        )
      : h("p", { class: "soft" }, "None on record."),
  );
}

/**
 * @param {Sign} sign
 * @returns {HTMLElement | null}
 */
function damageSection(sign) {
  const damage = /** @type {Record<string, any>[]} */ (sign.damage ?? []);
  return damage.length
    ? section(
        "Damage on record",
        h(
          "ul",
          { class: "lines" },
          damage.map((each) =>
            h(
              "li",
              { class: "reading-line" },
              h("strong", null, each.words),
              h("span", { class: "small soft" }, `seen ${dayWords(each.seen_on)}`),
            ),
          ),
        ),
      )
    : null;
}

/**
 * @param {App} app
 * @param {Subject} subject
 * @param {import("../types.js").Identified | null} identified
 * @returns {Promise<HTMLElement>}
 */
async function factsSection(app, { sign, position, support }, identified) {
  const onSupport = support?.id ? await app.store.positionsOfSupport(support.id) : [];
  /** @type {[string, string][]} */
  const facts = [
    ["Put up", dayWords(sign?.installed_on)],
    ["Made", dayWords(sign?.fabricated_on)],
    ["On its support", orderWords(position?.order_on_support, onSupport.length)],
    ["Side", support?.side || "not known"],
    ["Support", support?.key ?? "not known"],
    ["Identified", identifiedWords(identified)],
  ];
  return section(
    "On record",
    h(
      "dl",
      { class: "facts" },
      facts
        .filter(([, words]) => words)
        .map(([name, words]) => [h("dt", null, name), h("dd", null, words)])
        .flat(),
    ),
  );
}

/**
 * @param {Sign} sign
 * @returns {HTMLElement | null}
 */
function historySection(sign) {
  const history = /** @type {{ on: string, words: string }[]} */ (sign.history ?? []);
  return history.length
    ? h(
        "details",
        null,
        h("summary", null, "History"),
        h(
          "ul",
          { class: "lines" },
          history.map(({ on, words }) =>
            h(
              "li",
              { class: "reading-line" },
              h("strong", null, dayWords(on)),
              h("span", null, words),
            ),
          ),
        ),
      )
    : null;
}

/**
 * @param {App} app
 * @param {Sign} sign
 * @returns {Promise<HTMLElement | null>}
 */
async function photoSection(app, sign) {
  const ids = /** @type {number[]} */ (sign.photo_ids ?? []);
  const blobs = (await Promise.all(ids.map((id) => app.store.picture(id)))).filter(
    (blob) => blob !== null,
  );
  if (blobs.length === 0) {
    return null;
  }
  const leaving = app.leaving();
  const pictures = blobs.map((blob) => {
    const address = URL.createObjectURL(blob);
    leaving.addEventListener("abort", () => URL.revokeObjectURL(address));
    return h("img", { class: "photo", src: address, alt: "Photo of this sign" });
  });
  return section("Photos", pictures);
}

/**
 * Return the one primary action: what the stop asks for, else to read it; once that is done,
 * finish the stop or find the next sign.
 *
 * @param {App} app
 * @param {Subject} subject
 * @param {Query} query
 * @param {Record<string, any> | null} stop
 * @param {boolean} isRead
 * @returns {Promise<HTMLElement>}
 */
async function actOf(app, { key, sign, position, recorded }, query, stop, isRead) {
  const readHash = makeHash("#/read/:sign", { sign: key, ...query });
  const isOpen = stop !== null && (await stopNow(app, stop)).outcome === null;
  const finish = isOpen
    ? primaryLink(
        `Finish stop ${stop.number}`,
        makeHash("#/stop/:stop", { stop: stop.id, outcome: "done" }),
      )
    : null;
  if (sign?.state !== "installed") {
    if (finish && stop?.task === "remove") {
      return actBar(finish);
    }
    return position
      ? actBar(
          primaryLink(
            "Put a face up here",
            makeHash("#/install/:position", { position: position.id ?? key, ...query }),
          ),
        )
      : actBar(primaryLink("Find a sign", FIND_HASH));
  }
  const isLooked = recorded.some((each) => each.is_look);
  const asked = isOpen ? askedByStop(stop, key, query, position, isLooked) : null;
  if (asked) {
    return actBar(asked);
  }
  if (!isRead && (!isOpen || stop.task === "read")) {
    return actBar(primaryLink("Record readings", readHash));
  }
  return actBar(
    h(
      "div",
      { class: "keys-pair" },
      linkButton(isRead ? "Read again" : "Record readings", readHash),
      finish ?? primaryLink("Next sign", stop ? "#/today" : FIND_HASH),
    ),
  );
}

/**
 * Return what an open stop asks to be done here; null for readings, and once it is done.
 *
 * @param {Record<string, any>} stop
 * @param {string} key of the sign: an operation's once a new face was put up on this phone
 * @param {Query} query
 * @param {Record<string, any> | null} position
 * @param {boolean} isLooked whether a look at night was recorded here
 * @returns {HTMLElement | null}
 */
function askedByStop(stop, key, query, position, isLooked) {
  const isNew = !/^\d+$/.test(key) || stop.face?.is_up_here;
  if (["replace", "install"].includes(stop.task) && position?.id && !isNew) {
    const face = labelToPutUp(stop);
    const hash = makeHash("#/install/:position", { position: position.id, face, ...query });
    return primaryLink("Put up the new face", hash);
  }
  if (stop.task === "look" && !isLooked) {
    return primaryLink("Look at night", makeHash("#/night/:sign", { sign: key, ...query }));
  }
  return stop.task === "remove"
    ? primaryLink("Take it down", makeHash("#/remove/:sign", { sign: key, ...query }))
    : null;
}

/**
 * @param {string} words
 * @returns {string}
 */
function capital(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}
