/**
 * Damage now: what is reported and not put right yet, each with its clock, and what this phone
 * recorded of it since.
 *
 * @module
 */
import { aboutHash, aboutWords } from "./about.js";
import { clear, h } from "./dom.js";
import { distanceM } from "./distances.js";
import { askPosition } from "./phone_position.js";
import { facePicture, notice, section } from "./pieces.js";
import { contentOf, stateWords, wordOf } from "./recorded_words.js";
import { makeHash } from "./router.js";
import { way } from "./way_words.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./fixes.js").Fix} Fix */
/** @typedef {Record<string, any>} Row as the desk tells of damage */
/** @typedef {{ pace: "late" | "last-day" | "running" | "no-time-set", words: string }} Clock */

const FIRST_FEW = 3;
const MOST_LOOKED_AT = 1000;
const DAY_MS = 86_400_000;
const MODERATE = 2;
const [MOST_DAYS, MOST_MONTHS] = [90, 24];
const [DAYS_PER_MONTH, DAYS_PER_YEAR] = [30.44, 365.25];
const UNSENT = /** @type {const} */ (["waiting", "sent", "held"]);
/** A shape of its own each, in characters that phones have: the shell is to stay small. */
const SHAPE = { late: "▲", "last-day": "◐", running: "○", "no-time-set": "–" };
const GONE = new Set(["missing", "knocked_down"]);

/**
 * Return how damage stands against its time on a day of this phone, as the desk words it.
 *
 * @param {Row} row
 * @param {string} today
 * @returns {Clock}
 */
export function clockOf(row, today) {
  const known = daysBetween(row.known_on, today);
  if (!row.due_on) {
    const since = known <= 0 ? "known today" : `known for ${days(known)}`;
    return { pace: "no-time-set", words: `${since}; no time set` };
  }
  const left = daysBetween(today, row.due_on);
  if (left < 0) {
    return { pace: "late", words: `overdue by ${days(-left)}` };
  }
  return left === 0
    ? { pace: "last-day", words: "today is the last day" }
    : { pace: "running", words: `${days(left)} left` };
}

/**
 * Return damage with the nearest to a fix first; as the desk has it where there is no fix.
 *
 * @param {Row[]} rows
 * @param {Fix | null} fix
 * @returns {(Row & { distance_m: number | null })[]}
 */
export function inOrder(rows, fix) {
  if (fix === null) {
    return rows.map((each) => ({ ...each, distance_m: null }));
  }
  return rows
    .map((each) => ({ ...each, distance_m: distanceM(fix, /** @type {any} */ (each)) }))
    .sort((a, b) => a.distance_m - b.distance_m);
}

/**
 * Return the rows where no new face of this phone waits to be sent, and what it reported itself.
 *
 * @param {App} app
 * @param {Row[]} rows
 * @returns {Promise<{ rows: Row[], reported: { hash: string, about: string, what: string, state: string }[] }>}
 */
export async function withRecorded(app, rows) {
  const recorded = await app.store.operations({ states: [...UNSENT], limit: MOST_LOOKED_AT });
  const putUp = new Set();
  const reported = [];
  for (const each of recorded.filter((one) => !one.replaced_by)) {
    const { payload } = contentOf(each);
    if (each.kind === "install" && payload.position?.id) {
      putUp.add(payload.position.id);
    }
    const seen = each.kind === "inspection" ? (payload.observations ?? []).find(isDamage) : null;
    if (seen) {
      reported.push({
        hash: aboutHash(each),
        about: await aboutWords(app, each),
        what: wordOf(app.basics, "observation_kinds", seen.kind),
        state: stateWords(each),
      });
    }
  }
  return { rows: rows.filter((each) => !putUp.has(each.position_id)), reported };
}

/**
 * Return the part of Today that tells of damage; null where there is none.
 *
 * @param {App} app
 * @param {string} today
 * @returns {Promise<HTMLElement | null>}
 */
export async function damageNow(app, today) {
  const told = app.basics?.damage ?? { count: 0, rows: [] };
  const { rows, reported } = await withRecorded(app, told.rows);
  if (rows.length + reported.length === 0) {
    return null;
  }
  const list = h("ul", { class: "lines", "data-damage": "" });
  const trouble = h("div", { role: "status" });
  const more = h("div", { class: "button-pair" });
  let fix = /** @type {Fix | null} */ (null);
  let isAll = false;
  const fill = async () => {
    const ordered = inOrder(rows, fix);
    const shown = isAll ? ordered : ordered.slice(0, FIRST_FEW);
    clear(list, [
      ...reported.map(reportedLine),
      ...(await Promise.all(shown.map((each) => damageLine(app, each, today)))),
    ]);
    clear(more, [
      rows.length > 1 && fix === null ? button("Nearest first", nearest) : null,
      rows.length > shown.length
        ? button(`Show all ${rows.length}`, () => {
            isAll = true;
            return fill();
          })
        : null,
    ]);
  };
  const nearest = async () => {
    try {
      fix = await askPosition();
    } catch (error) {
      clear(trouble, notice("warn", h("p", null, /** @type {Error} */ (error).message)));
    }
    await fill();
  };
  await fill();
  return section(
    "Damage now",
    h(
      "p",
      { class: "caution" },
      "Protect the place first, and follow your local traffic control plan.",
    ),
    list,
    trouble,
    more,
  );
}

/**
 * @param {App} app
 * @param {Row & { distance_m: number | null }} row
 * @param {string} today
 * @returns {Promise<HTMLElement>}
 */
async function damageLine(app, row, today) {
  const sign = row.sign_id ? await app.store.sign(row.sign_id) : null;
  const place = [row.road || "road not known", row.distance_m === null ? "" : way(row.distance_m)];
  const words = h(
    "span",
    { class: "sign-line-words" },
    h("span", null, h("span", { class: "code" }, row.code || "code not known"), ` ${row.kind}`),
    clockPiece(clockOf(row, today)),
    h("span", { class: "soft small" }, place.filter(Boolean).join(", ")),
  );
  if (!sign) {
    return h("li", { class: "reading-line", "data-not-carried": "" }, words);
  }
  const svg = sign.drawing ? await app.store.drawing(sign.drawing) : null;
  return h(
    "li",
    null,
    h(
      "a",
      { class: "sign-line", href: makeHash("#/sign/:sign", { sign: row.sign_id }) },
      facePicture(svg),
      words,
    ),
  );
}

/**
 * @param {{ hash: string, about: string, what: string, state: string }} each
 * @returns {HTMLElement}
 */
function reportedLine({ hash, about, what, state }) {
  const words = `${about || "A sign"}: ${what} (${state})`;
  return h(
    "li",
    { class: "reading-line" },
    hash ? h("a", { href: hash }, words) : words,
  );
}

/**
 * @param {Clock} clock
 * @returns {HTMLElement}
 */
function clockPiece({ pace, words }) {
  return h(
    "span",
    { class: `clock clock-${pace}` },
    h("span", { "aria-hidden": "true" }, SHAPE[pace]),
    words,
  );
}

/**
 * @param {string} words
 * @param {() => unknown} onTap
 * @returns {HTMLElement}
 */
function button(words, onTap) {
  return h("button", { type: "button", class: "button", onclick: onTap }, words);
}

/**
 * @param {Row} seen
 * @returns {boolean}
 */
function isDamage(seen) {
  return seen.severity >= MODERATE || (GONE.has(seen.kind) && seen.severity > 0);
}

/**
 * @param {string} from
 * @param {string} to
 * @returns {number}
 */
function daysBetween(from, to) {
  return Math.round((Date.parse(to) - Date.parse(from)) / DAY_MS);
}

/**
 * Return a time in days, from three months on in months, from two years on in years.
 *
 * @param {number} count
 * @returns {string}
 */
function days(count) {
  if (count > MOST_MONTHS * DAYS_PER_MONTH) {
    return `${Math.round(count / DAYS_PER_YEAR)} years`;
  }
  if (count > MOST_DAYS) {
    return `${Math.round(count / DAYS_PER_MONTH)} months`;
  }
  return count === 1 ? "1 day" : `${count} days`;
}
