/**
 * How this phone is set: colours, letters, instrument, who records, room, and the app itself.
 *
 * @module
 */
import { nameDevice } from "../device.js";
import { clear, h, put } from "../dom.js";
import { textField } from "../form.js";
import { instrumentInHand, instrumentWords, lastCheck, takeInstrument } from "../instrument_choice.js";
import { chips, linkButton, notice, section } from "../pieces.js";
import { makeHash } from "../router.js";
import { askToPersist, seeSpace, spaceWords } from "../space.js";
import { keptTextSize, TEXT_SIZES, wearTextSize } from "../text_size.js";

/** @typedef {import("../page.js").App} App */

const LONGEST_NAME = 80;
const NONE = "none";

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, _params, app) {
  put(
    place,
    h("h1", null, "Settings"),
    chips({
      name: "theme",
      legend: "Colours",
      choices: [
        ["day", "day"],
        ["night", "night"],
      ],
      value: app.theme(),
      onPick: (theme) => app.setTheme(theme === "night" ? "night" : "day"),
    }),
    chips({
      name: "text",
      legend: "Letters",
      choices: TEXT_SIZES,
      value: keptTextSize(),
      onPick: (size) => wearTextSize(/** @type {import("../text_size.js").TextSize} */ (size)),
    }),
    await instrumentSection(app),
    await whoSection(app),
    section("Signs on this phone", linkButton("Take signs along", "#/take-along")),
    await roomSection(app),
    versionSection(app),
    section(
      "Before you start",
      linkButton("Read the reminder again", makeHash("#/safety", { next: "#/settings" })),
    ),
  );
}

/**
 * @param {App} app
 * @returns {Promise<HTMLElement>}
 */
async function instrumentSection(app) {
  const facts = h("div", { role: "status", class: "stack-small small" });
  const known = app.basics?.instruments ?? [];
  const draw = async () => {
    const instrument = await instrumentInHand(app);
    const said = instrument && instrumentWords(
      instrument,
      await lastCheck(app, instrument),
      app.now(),
    );
    clear(
      facts,
      said ? h("p", null, said.words) : null,
      said?.warning ? notice("warn", h("p", null, said.warning)) : null,
      instrument
        ? linkButton(
          "Check it on its reference",
          makeHash("#/check/:instrument", { instrument: instrument.id }),
        )
        : null,
    );
  };
  await draw();
  const inHand = await instrumentInHand(app);
  const pick = chips({
    name: "instrument",
    legend: "In hand",
    isLegendHidden: true,
    choices: [
      ...known.map(
        (/** @type {any} */ each) => /** @type {[string, string]} */ (
          [String(each.id), each.serial]
        ),
      ),
      [NONE, "none"],
    ],
    value: inHand ? String(inHand.id) : NONE,
    onPick: async (id) => {
      await takeInstrument(app, id === NONE ? null : Number(id));
      await draw();
    },
  });
  return section("Instrument", pick, facts);
}

/**
 * @param {App} app
 * @returns {Promise<HTMLElement>}
 */
async function whoSection(app) {
  const person = await app.store.setting("person");
  const organisation = await app.store.setting("organisation");
  const device = await app.store.setting("device");
  const { state } = app.running.who;
  const signedIn = state === "signed_in"
    ? "signed in"
    : state === "offline"
      ? "no signal to ask whether still signed in"
      : "signed out; what is recorded is sent all the same";
  return section(
    "Who records",
    person
      ? h(
        "p",
        null,
        h("strong", null, person.name),
        organisation ? `, ${organisation.name}` : "",
        `: ${signedIn}.`,
      )
      : h("p", null, "Nobody has signed in on this phone yet."),
    h(
      "a",
      { class: "button", href: "/sign-in/?next=/field/" },
      person ? "Sign in as another person" : "Sign in",
    ),
    h(
      "p",
      { class: "small soft" },
      "It needs signal. What waits under one name is sent under that name, whoever signs in next.",
    ),
    device ? namePiece(app, device.name) : null,
  );
}

/**
 * @param {App} app
 * @param {string} name
 * @returns {HTMLElement}
 */
function namePiece(app, name) {
  const given = textField(
    "device-name",
    "This phone’s name",
    name,
    { most: LONGEST_NAME, hint: "Your engineer sees it beside what this phone sends." },
  );
  const said = h("p", { role: "status", class: "small" });
  const save = async () => {
    said.textContent = "";
    said.textContent = (await nameDevice(app, given.input.value.trim())) || "The name is kept.";
  };
  return h(
    "div",
    { class: "stack-small" },
    given.element,
    h("button", { type: "button", class: "button", onclick: save }, "Keep this name"),
    said,
  );
}

/**
 * @param {App} app
 * @returns {Promise<HTMLElement>}
 */
async function roomSection(app) {
  const space = await seeSpace();
  const words = h("p", { role: "status" }, spaceWords(space));
  const ask = async () => {
    await askToPersist();
    words.textContent = spaceWords(await seeSpace());
  };
  return section(
    "Room on this phone",
    words,
    space.is_persisted === false
      ? h(
        "button",
        { type: "button", class: "button", onclick: ask },
        "Ask the phone to keep it",
      )
      : null,
  );
}

/**
 * @param {App} app
 * @returns {HTMLElement}
 */
function versionSection(app) {
  const { updates } = app.running;
  const said = h("p", { role: "status" });
  const draw = () => {
    clear(
      said,
      updates.isWaiting
        ? "A newer version is on this phone. What you recorded stays as it is."
        : updates.isReady
          ? "It opens without signal."
          : updates.sentence || "It is not kept for offline yet: leave it open while there is signal.",
    );
    take.hidden = !updates.isWaiting;
  };
  const take = h(
    "button",
    { type: "button", class: "button", onclick: () => updates.takeOver() },
    "Update now",
  );
  const look = h(
    "button",
    { type: "button", class: "button", onclick: () => updates.ask() },
    "Look for a newer version",
  );
  for (const name of ["waiting", "ready"]) {
    updates.addEventListener(name, draw, { signal: app.leaving() });
  }
  draw();
  return section(
    "The app",
    h("p", null, `Version ${app.version || "not known"}`),
    said,
    h("div", { class: "button-pair" }, take, look),
  );
}
