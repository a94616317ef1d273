/**
 * The field page: shows one screen at a time by its address, and keeps the top line true.
 *
 * @module
 */
import { watchConnection } from "./connection.js";
import { clear, h } from "./dom.js";
import { Banner } from "./banner.js";
import { notice } from "./pieces.js";
import { FIRST_HASH, ROUTES } from "./routes.js";
import { matchHash } from "./router.js";
import { safetyHash } from "./safety_day.js";
import { openStore } from "./store.js";
import { keptTheme, wearTheme } from "./theme.js";

/** @typedef {import("./store.js").Store} Store */

/**
 * What every screen is given.
 *
 * @typedef {object} App
 * @property {Store} store what is kept on this phone
 * @property {any} connection whether the server answers; see connection.js
 * @property {any} basics what `GET field/basics` said last, or null before the first time
 * @property {(hash: string, how?: { replace?: boolean }) => void} go show another screen
 * @property {() => void} back show the screen before this one
 * @property {(words: string, how?: { actionWords?: string, onAction?: () => unknown,
 *   seconds?: number, kind?: "" | "warn" | "stop" }) => void} say a bar above the action,
 *   read out, that outlives a change of screen
 * @property {() => Promise<void>} refreshCount bring "3 to send" up to date
 * @property {() => Promise<void>} refreshBasics read the basics from the store again
 * @property {() => AbortSignal} leaving aborted when the screen of this moment is left
 * @property {(theme: "day" | "night") => void} setTheme
 * @property {() => "day" | "night"} theme
 * @property {Map<string, unknown>} session what is remembered until the page is closed
 * @property {() => Date} now
 */

class Page {
  /** @param {Store} store */
  constructor(store) {
    this.screen = /** @type {HTMLElement} */ (document.querySelector("[data-screen]"));
    this.banner = new Banner(document);
    this.leaving = new AbortController();
    this.shown = 0;
    this.lastEntry = -1;
    /** @type {App} */
    this.app = {
      store,
      connection: null,
      basics: null,
      go: (hash, how = {}) => this.go(hash, how.replace === true),
      back: () => window.history.back(),
      say: (words, how = {}) => this.banner.say(words, how),
      refreshCount: async () => this.banner.showCounts(await store.counts()),
      refreshBasics: async () => {
        this.app.basics = (await store.basics()) ?? null;
      },
      leaving: () => this.leaving.signal,
      setTheme: wearTheme,
      theme: keptTheme,
      session: new Map(),
      now: () => new Date(),
    };
  }

  /** Show the first screen and follow the address from now on. */
  async start() {
    const { app } = this;
    await app.refreshBasics();
    window.addEventListener("hashchange", () => void this.show());
    // A plain link to #main would be taken for a screen.
    document.querySelector("[data-skip]")?.addEventListener("click", (event) => {
      event.preventDefault();
      this.screen.focus();
    });
    app.connection = watchConnection(app);
    await Promise.all([app.refreshCount(), this.show()]);
  }

  /**
   * @param {string} hash
   * @param {boolean} isReplacing
   */
  go(hash, isReplacing) {
    if (hash === window.location.hash) {
      void this.show();
    } else if (isReplacing) {
      window.location.replace(hash);
    } else {
      window.location.hash = hash;
    }
  }

  /** Show the screen of the address there is. */
  async show() {
    const hash = window.location.hash || FIRST_HASH;
    this.shown += 1;
    const turn = this.shown;
    this.leaving.abort();
    this.leaving = new AbortController();
    this.countEntry();
    const found = findRoute(hash);
    if (found === null) {
      this.fill([h("h1", null, "No such screen"), lostWords(hash)]);
      this.banner.showRoute(null, this.lastEntry);
      return;
    }
    const { route, params } = found;
    const reminder = route.isAction ? await safetyHash(this.app, hash) : "";
    if (reminder) {
      this.go(reminder, true);
      return;
    }
    const place = h("div", { class: "screen" });
    try {
      const { show } = await route.open();
      const shown = await show(place, params, this.app);
      if (turn !== this.shown) {
        return;
      }
      this.fill([place]);
      this.banner.showRoute(route, this.lastEntry, shown?.placeName ?? "");
    } catch (error) {
      if (turn === this.shown) {
        this.fill([h("h1", null, "This screen could not be shown"), troubleWords(error)]);
        this.banner.showRoute(route, this.lastEntry);
      }
      throw error;
    }
  }

  /**
   * Put a screen in place, from its top, and let a screen reader read its heading.
   *
   * @param {HTMLElement[]} pieces
   */
  fill(pieces) {
    clear(this.screen, ...pieces);
    this.screen.scrollTop = 0;
    const heading = this.screen.querySelector("h1");
    if (heading) {
      document.title = `${heading.textContent} · signfleet`;
      heading.tabIndex = -1;
      if (this.shown > 1) {
        heading.focus({ preventScroll: true });
      }
    }
  }

  /** Number the entries of the browser's history, so that Back knows whether there is one. */
  countEntry() {
    const known = window.history.state?.entry;
    if (typeof known === "number") {
      this.lastEntry = known;
    } else {
      this.lastEntry += 1;
      window.history.replaceState({ entry: this.lastEntry }, "");
    }
  }
}

/**
 * @param {string} hash
 * @returns {{ route: import("./routes.js").Route, params: Record<string, string> } | null}
 */
function findRoute(hash) {
  for (const route of ROUTES) {
    const params = matchHash(route.pattern, hash);
    if (params) {
      return { route, params };
    }
  }
  return null;
}

/**
 * @param {string} hash
 * @returns {HTMLElement}
 */
function lostWords(hash) {
  return notice(
    "warn",
    h("p", null, `This app has no screen at “${hash}”. What you recorded is safe.`),
    h("p", null, h("a", { href: FIRST_HASH }, "Go to Today")),
  );
}

/**
 * @param {unknown} error
 * @returns {HTMLElement}
 */
function troubleWords(error) {
  return notice(
    "stop",
    h("p", null, "Something went wrong on this phone. What you recorded before is still kept."),
    h("p", null, h("a", { href: FIRST_HASH }, "Go to Today")),
    h("p", { class: "small soft" }, `For your engineer: ${String(error)}`),
  );
}

/** Open what is kept on this phone and start; without it nothing could be kept, so say so. */
async function start() {
  wearTheme(keptTheme());
  try {
    await new Page(await openStore()).start();
  } catch (error) {
    const screen = document.querySelector("[data-screen]");
    if (screen && !screen.querySelector("h1")) {
      clear(
        screen,
        h("h1", null, "This phone cannot keep records"),
        notice(
          "stop",
          h(
            "p",
            null,
            "The store on this phone did not open, so nothing recorded here would be safe. Close other tabs of this page and open it again; leave private browsing; free some space on the phone.",
          ),
          h("p", { class: "small soft" }, `For your engineer: ${String(error)}`),
        ),
      );
    }
    throw error;
  }
}

void start();
