/**
 * Today: my stops in order, what to bring, and what waits to be sent.
 *
 * @module
 */
import { addedWork, packagesInHand } from "../added_work.js";
import { countWords } from "../banner.js";
import { takeBasics } from "../carrying.js";
import { deviceDay } from "../clock.js";
import { damageNow } from "../damage_now.js";
import { dayWords } from "../day_words.js";
import { clear, h, put } from "../dom.js";
import { instrumentInHand, instrumentWords, lastCheck } from "../instrument_choice.js";
import { packageSection, stopHash } from "../package_section.js";
import { actBar, linkButton, notice, primaryLink, section } from "../pieces.js";
import { makeHash } from "../router.js";
import { stopsNow } from "../stops_now.js";

/** @typedef {import("../page.js").App} App */
/** @typedef {Record<string, any>} Package */

const SIGN_IN_ADDRESS = "/sign-in/?next=/field/";

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, _params, app) {
  const body = h("div", { class: "stack" });
  const act = actBar();
  const leaving = app.leaving();
  const fill = async () => {
    const { pieces, primary } = await todayPieces(app);
    if (!leaving.aborted) {
      clear(body, pieces);
      clear(act, primary);
    }
  };
  put(place, h("h1", null, `Today, ${dayWords(deviceDay(app.now()))}`), body, act);
  await fill();
  // The lists may have changed at the desk; without signal those of the last time stand.
  const renew = () => takeBasics(app).then(fill, () => undefined);
  app.connection.addEventListener("online", renew, { signal: leaving });
  if (app.connection.isOnline) {
    void renew();
  }
  return { placeName: app.basics?.organisation?.name ?? "" };
}

/**
 * @param {App} app
 * @returns {Promise<{ pieces: (HTMLElement | null)[], primary: HTMLElement }>}
 */
async function todayPieces(app) {
  const packages = /** @type {Package[]} */ (app.basics?.packages ?? []);
  const today = deviceDay(app.now());
  const mine = packagesInHand(app, today);
  const later = packages.filter(
    (each) => (each.crew_is_me || each.crew_is_any) && each.work_on > today,
  );
  const areas = await app.store.areas();
  const carried = new Set(areas.filter((each) => each.is_whole).map((each) => each.package_id));
  const lists = await Promise.all(
    mine.map(async (each) => ({
      each,
      stops: carried.has(each.id) ? await stopsNow(app, each.id) : null,
    })),
  );
  const next = lists.flatMap(({ stops }) => stops ?? []).find((stop) => stop.outcome === null);
  const added = await addedWork(app, mine.map((each) => each.id));
  const waiting = lists.some(({ stops }) => stops === null);
  const pieces = [
    app.basics === null ? welcome() : null,
    await damageNow(app, today),
    ...(await Promise.all(
      lists.map(({ each, stops }) =>
        packageSection(
          app,
          each,
          stops,
          added.filter(({ package_id }) => package_id === each.id),
        ),
      ),
    )),
    app.basics !== null && mine.length === 0 ? noPackage(areas.length > 0) : null,
    later.length ? laterSection(later) : null,
    await instrumentSection(app),
    await waitingSection(app),
    app.basics === null
      ? null
      : section(
          "Signs on this phone",
          h("p", null, carriedWords(areas)),
          linkButton("Take signs along", "#/take-along"),
        ),
  ];
  if (app.basics === null) {
    return { pieces, primary: primaryLink("Sign in", SIGN_IN_ADDRESS) };
  }
  if (waiting || areas.length === 0) {
    return { pieces, primary: primaryLink("Take signs along", "#/take-along") };
  }
  return {
    pieces,
    primary: next?.found
      ? primaryLink(`Open stop ${next.number}`, stopHash(next))
      : primaryLink("Find a sign", "#/near"),
  };
}

/**
 * @param {Package[]} packages of the days to come
 * @returns {HTMLElement}
 */
function laterSection(packages) {
  const lines = packages.map((each) =>
    h(
      "li",
      { class: "reading-line" },
      h("strong", null, each.title),
      h("span", { class: "small soft" }, `${dayWords(each.work_on)}, ${each.stop_count} stops`),
    ),
  );
  return h("details", null, h("summary", null, "Coming days"), h("ul", { class: "lines" }, lines));
}

/** @returns {HTMLElement} */
function welcome() {
  return notice(
    "",
    h("p", null, h("strong", null, "Set this phone up once, while there is signal.")),
    h(
      "p",
      null,
      "Sign in, take the signs of your day along, and from then on everything works without.",
    ),
  );
}

/**
 * @param {boolean} hasArea
 * @returns {HTMLElement}
 */
function noPackage(hasArea) {
  return notice(
    "",
    h("p", null, "No stops are planned for you today."),
    h(
      "p",
      null,
      hasArea
        ? "You can still find and read every sign this phone carries."
        : "Take an area along to find and read its signs without signal.",
    ),
  );
}

/**
 * @param {App} app
 * @returns {Promise<HTMLElement | null>}
 */
async function instrumentSection(app) {
  if (!app.basics?.instruments?.length) {
    return null;
  }
  const instrument = await instrumentInHand(app);
  const said = instrument
    ? instrumentWords(instrument, await lastCheck(app, instrument), app.now())
    : null;
  return section(
    "Instrument",
    h(
      "p",
      null,
      instrument ? h("strong", null, instrument.serial) : "None named yet",
      said ? `: ${said.words}` : "",
    ),
    said?.warning ? h("p", { class: "caution" }, said.warning) : null,
    linkButton(
      "Check the instrument",
      instrument ? makeHash("#/check/:instrument", { instrument: instrument.id }) : "#/check",
    ),
  );
}

/**
 * @param {App} app
 * @returns {Promise<HTMLElement | null>}
 */
async function waitingSection(app) {
  const counts = await app.store.counts();
  const waits = counts.waiting + counts.photos + counts.refused > 0;
  return waits
    ? section(
        "Waiting on this phone",
        h("p", null, capital(countWords(counts))),
        linkButton("See what waits", "#/outbox"),
      )
    : null;
}

/**
 * @param {import("../types.js").Area[]} areas
 * @returns {string}
 */
function carriedWords(areas) {
  if (areas.length === 0) {
    return "None yet.";
  }
  const signs = areas.reduce((sum, each) => sum + each.sign_count, 0);
  const oldest = new Date(Math.min(...areas.map((each) => each.taken_at_ms)));
  return `${signs.toLocaleString("en-GB")} signs, as they were on ${dayWords(deviceDay(oldest))}.`;
}

/**
 * @param {string} words
 * @returns {string}
 */
function capital(words) {
  return words.charAt(0).toUpperCase() + words.slice(1);
}
