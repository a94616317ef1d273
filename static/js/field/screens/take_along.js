/**
 * Taking signs along: the stops of a package, or an area around the phone or a road.
 *
 * @module
 */
import { boxAround } from "../boxes.js";
import { CarryError, takeArea, takeBasics } from "../carrying.js";
import { deviceDay } from "../clock.js";
import { dayWords } from "../day_words.js";
import { clear, h, put } from "../dom.js";
import { askPosition } from "../phone_position.js";
import { actBar, chips, section } from "../pieces.js";
import { seeSpace } from "../space.js";

/** @typedef {import("../page.js").App} App */
/** @typedef {import("../types.js").Area} Area */
/** @typedef {import("../types.js").Box} Box */
/** @typedef {import("../carrying.js").Wanted} Wanted */
/** @typedef {Record<string, any>} Package */

const METRES_PER_MILE = 1609.344;
const BYTES_PER_MEGABYTE = 1_000_000;
/** @type {[string, string][]} */
const REACHES = [
  ["1", "1 mile"],
  ["5", "5 miles"],
  ["15", "15 miles"],
];

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const screen = new TakeAlong(app);
  put(place, h("h1", null, "Take signs along"));
  put(
    place,
    h(
      "p",
      null,
      "What is on this phone works without signal: signs, levels, roads, last readings and small photos.",
    ),
  );
  put(place, screen.body, screen.act);
  await screen.fill();
  const box = boxOf(params);
  if (box) {
    void screen.take({
      id: areaId(box),
      title: "Part of the map",
      kind: "area",
      package_id: null,
      box,
    });
    return;
  }
  try {
    await takeBasics(app);
    await screen.fill();
  } catch (error) {
    screen.sayTrouble(error);
  }
}

class TakeAlong {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    this.leaving = app.leaving();
    this.reach = REACHES[1][0];
    this.body = h("div", { class: "stack" });
    this.act = actBar();
    /** @type {AbortController | null} */
    this.taking = null;
  }

  /** Show what can be taken along and what is here. */
  async fill() {
    const [areas, space] = await Promise.all([this.app.store.areas(), seeSpace()]);
    if (this.leaving.aborted || this.taking) {
      return;
    }
    const packages = /** @type {Package[]} */ (this.app.basics?.packages ?? []);
    const mine = packages.filter((each) => each.crew_is_me || each.crew_is_any);
    const others = packages.filter((each) => !mine.includes(each));
    const next = mine.find(
      (each) => !areas.some((area) => area.package_id === each.id && area.is_whole),
    );
    clear(
      this.body,
      mine.length ? section("My stops", this.packageList(mine, areas)) : null,
      this.areaSection(areas.length > 0),
      others.length
        ? h(
            "details",
            null,
            h("summary", null, "Stops of other crews"),
            this.packageList(others, areas),
          )
        : null,
      section("On this phone", this.areaList(areas), usedWords(space)),
    );
    clear(
      this.act,
      next
        ? h(
            "button",
            {
              type: "button",
              class: "button primary",
              onclick: () => this.take(packageArea(next)),
            },
            "Take my stops along",
          )
        : h(
            "button",
            { type: "button", class: "button primary", onclick: () => this.takeAround() },
            "Take the signs around me",
          ),
    );
  }

  /**
   * @param {Package[]} packages
   * @param {Area[]} areas
   * @returns {HTMLElement}
   */
  packageList(packages, areas) {
    return h(
      "ul",
      { class: "lines" },
      packages.map((each) => {
        const here = areas.find((area) => area.package_id === each.id);
        return h(
          "li",
          { class: "area-line" },
          h(
            "div",
            null,
            h("strong", null, each.title),
            h(
              "p",
              { class: "small soft" },
              `${dayWords(each.work_on)}, ${each.stop_count} stops${here ? `; ${agedWords(here)}` : ""}`,
            ),
          ),
          h(
            "button",
            { type: "button", class: "button", onclick: () => this.take(packageArea(each)) },
            here ? "Renew" : "Take along",
          ),
        );
      }),
    );
  }

  /**
   * @param {boolean} hasMap whether there is anything on the map yet to choose by
   * @returns {HTMLElement}
   */
  areaSection(hasMap) {
    const reach = chips({
      name: "reach",
      legend: "How far around me",
      choices: REACHES,
      value: this.reach,
      onPick: (value) => {
        this.reach = value;
      },
    });
    reach.classList.add("segments");
    return section(
      "An area",
      reach,
      h(
        "div",
        { class: "button-pair" },
        h(
          "button",
          { type: "button", class: "button", onclick: () => this.takeAround() },
          "Around me",
        ),
        hasMap ? h("a", { class: "button", href: "#/map?take=1" }, "Choose on the map") : null,
      ),
    );
  }

  /**
   * @param {Area[]} areas
   * @returns {HTMLElement}
   */
  areaList(areas) {
    if (areas.length === 0) {
      return h("p", { class: "soft" }, "Nothing yet.");
    }
    return h(
      "ul",
      { class: "lines" },
      areas.map((area) =>
        h(
          "li",
          { class: "area-line" },
          h(
            "div",
            null,
            h("strong", null, area.title),
            h("p", { class: "small soft" }, agedWords(area)),
          ),
          h(
            "div",
            { class: "button-pair" },
            h(
              "button",
              {
                type: "button",
                class: "button",
                "aria-label": `Renew ${area.title}`,
                onclick: () => this.take(area),
              },
              "Renew",
            ),
            h(
              "button",
              {
                type: "button",
                class: "button",
                "aria-label": `Drop ${area.title} from this phone`,
                onclick: () => this.drop(area),
              },
              "Drop",
            ),
          ),
        ),
      ),
    );
  }

  /** Take the signs around the phone along. */
  async takeAround() {
    try {
      const fix = await askPosition();
      const miles = Number(this.reach);
      const box = boxAround(fix, miles * METRES_PER_MILE);
      const words = REACHES.find(([value]) => value === this.reach)?.[1] ?? "";
      await this.take({
        id: areaId(box),
        title: `${words} around me`,
        kind: "area",
        package_id: null,
        box,
      });
    } catch (error) {
      this.sayTrouble(error);
    }
  }

  /** @param {Wanted} wanted */
  async take({ id, title, kind, package_id, box }) {
    const taking = new AbortController();
    this.taking = taking;
    const bar = h("progress", { max: 1, value: 0, "aria-label": "Taking along" });
    const words = h("p", { role: "status" }, "Asking the server");
    clear(this.body, section(title, bar, words));
    clear(
      this.act,
      h("button", { type: "button", class: "button", onclick: () => taking.abort() }, "Stop"),
    );
    try {
      const area = await takeArea(
        this.app,
        { id, title, kind, package_id, box },
        (said, share) => {
          words.textContent = said;
          bar.value = share;
        },
        taking.signal,
      );
      this.app.say(`${area.sign_count.toLocaleString("en-GB")} signs are on this phone.`);
    } catch (error) {
      this.sayTrouble(error);
    } finally {
      this.taking = null;
      await this.fill();
    }
  }

  /** @param {Area} area */
  async drop(area) {
    await this.app.store.dropArea(area.id);
    this.app.say(`${area.title} is no longer on this phone. What you recorded there is kept.`, {
      actionWords: "Take it again",
      onAction: () => this.take(area),
    });
    await this.fill();
  }

  /** @param {unknown} error */
  sayTrouble(error) {
    if (this.leaving.aborted) {
      return;
    }
    const isSignedOut = error instanceof CarryError && error.isSignedOut;
    this.app.say(error instanceof Error ? error.message : String(error), {
      kind: "warn",
      ...(isSignedOut
        ? {
            actionWords: "Sign in",
            onAction: () => window.location.assign("/sign-in/?next=/field/"),
          }
        : {}),
    });
  }
}

/**
 * @param {Package} work
 * @returns {Wanted}
 */
function packageArea(work) {
  return {
    id: `package:${work.id}`,
    title: work.title,
    kind: "package",
    package_id: work.id,
    box: null,
  };
}

/**
 * @param {import("../space.js").Space} space
 * @returns {HTMLElement | null}
 */
function usedWords({ used_bytes }) {
  const megabytes = (used_bytes ?? 0) / BYTES_PER_MEGABYTE;
  return used_bytes === null
    ? null
    : h("p", { class: "small soft" }, `The app takes ${megabytes.toFixed(1)} MB of this phone.`);
}

/**
 * @param {Area} area
 * @returns {string}
 */
function agedWords(area) {
  const signs = `${area.sign_count.toLocaleString("en-GB")} signs`;
  const taken = `as of ${dayWords(deviceDay(new Date(area.taken_at_ms)))}`;
  return area.is_whole ? `${signs}, ${taken}` : `${signs}, not whole: renew it`;
}

/**
 * @param {Box} box
 * @returns {string}
 */
function areaId(box) {
  return `area:${Object.values(box)
    .map((edge) => edge.toFixed(3))
    .join(",")}`;
}

/**
 * @param {Record<string, string>} params
 * @returns {Box | null}
 */
function boxOf(params) {
  const edges = [params.south, params.west, params.north, params.east].map(Number);
  if (edges.some((edge) => !Number.isFinite(edge)) || params.south === undefined) {
    return null;
  }
  const [south_deg, west_deg, north_deg, east_deg] = edges;
  return { south_deg, west_deg, north_deg, east_deg };
}
