/**
 * The field page: shows one screen at a time by its address, and keeps the top line true.
 *
 * @module
 */
import { Banner } from "./banner.js";
import { watchConnection } from "./connection.js";
import { clear, h } from "./dom.js";
import { notice } from "./pieces.js";
import { matchHash } from "./router.js";
import { FIRST_HASH, ROUTES } from "./routes.js";
import { startRunning } from "./running.js";
import { safetyHash } from "./safety_day.js";
import { openStore } from "./store.js";
import { keptTextSize, wearTextSize } from "./text_size.js";
import { keptTheme, wearTheme } from "./theme.js";

/** @typedef {import("./store.js").Store} Store */

/**
 * What every screen is given.
 *
 * @typedef {object} App
 * @property {Store} store what is kept on this phone
 * @property {string} version of the app
 * @property {import("./connection.js").Connection} connection whether the server answers
 * @property {import("./queue.js").Queue} queue what sends
 * @property {import("./running.js").Running} running what runs behind the screens
 * @property {Record<string, any> | null} basics what `GET field/basics` said last; null before
 *   the first time
 * @property {(hash: string, how?: { replace?: boolean }) => void} go show another screen
 * @property {(hash: string) => void} closeTo leave this screen for good: back to the one before
 *   where that is the wanted one, else in its place
 * @property {() => void} back show the screen before this one
 * @property {(words: string, how?: Saying) => void} say a bar above the action, read out, that
 *   outlives a change of screen
 * @property {() => Promise<void>} refreshCount bring "3 to send" up to date
 * @property {() => Promise<void>} refreshBasics read the basics from the store again
 * @property {() => AbortSignal} leaving aborted when the screen of this moment is left
 * @property {(theme: "day" | "night") => void} setTheme
 * @property {() => "day" | "night"} theme
 * @property {Map<string, any>} memory what is remembered until the page is closed
 * @property {() => Date} now
 */

/** @typedef {import("./banner.js").Saying} Saying */

class Page {
  /** @param {Store} store */
  constructor(store) {
    this.screen = /** @type {HTMLElement} */ (document.querySelector("[data-screen]"));
    this.banner = new Banner(document);
    this.leaving = new AbortController();
    this.shown = 0;
    this.entry = -1;
    this.isReplacing = false;
    /** @type {string[]} the addresses of the browser's history, by entry */
    this.hashes = [];
    /** @type {App} */
    this.app = {
      .../** @type {Pick<App, "connection" | "queue" | "running">} */ ({}),
      store,
      version: document.documentElement.dataset.version ?? "",
      basics: null,
      go: (hash, how = {}) => this.go(hash, how.replace === true),
      closeTo: (hash) => this.closeTo(hash),
      // Opened right here, Back would leave the app.
      back: () => (this.entry > 0 ? window.history.back() : this.go(FIRST_HASH, true)),
      say: (words, how = {}) => this.banner.say(words, how),
      refreshCount: async () => this.banner.showCounts(await store.counts()),
      refreshBasics: async () => {
        this.app.basics = await store.basics();
      },
      leaving: () => this.leaving.signal,
      setTheme: wearTheme,
      theme: keptTheme,
      memory: new Map(),
      now: () => new Date(),
    };
  }

  /** Show the first screen and follow the address from now on. */
  async start() {
    const { app, banner } = this;
    await app.refreshBasics();
    window.addEventListener("hashchange", () => void this.show());
    // A plain link to #main would be taken for a screen.
    document.querySelector("[data-skip]")?.addEventListener("click", (event) => {
      event.preventDefault();
      this.screen.focus();
    });
    app.connection = watchConnection({});
    app.running = await startRunning(app);
    app.queue = app.running.queue;
    app.store.onChange(() => void app.refreshCount());
    app.running.onNotes(() => banner.showNotes(app.running.notes()));
    const showLine = () => banner.showLine(app.connection.isOnline);
    app.connection.addEventListener("online", showLine);
    app.connection.addEventListener("offline", showLine);
    showLine();
    banner.showNotes(app.running.notes());
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
      this.isReplacing = true;
      window.location.replace(hash);
    } else {
      window.location.hash = hash;
    }
  }

  /**
   * Leave this screen for good: Back never comes to it again.
   *
   * @param {string} hash
   */
  closeTo(hash) {
    const before = this.hashes[this.entry - 1];
    if (before !== undefined && before.split("?")[0] === hash.split("?")[0]) {
      window.history.back();
    } else {
      this.go(hash, true);
    }
  }

  /** Show the screen of the address there is. */
  async show() {
    const hash = window.location.hash || FIRST_HASH;
    this.shown += 1;
    const turn = this.shown;
    this.leaving.abort();
    this.leaving = new AbortController();
    this.countEntry(hash);
    const found = findRoute(hash);
    if (found === null) {
      this.fill([h("h1", null, "No such screen"), lostWords(hash)]);
      this.banner.showRoute(null, this.entry);
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
      this.banner.showRoute(route, this.entry, shown?.placeName ?? "");
    } catch (error) {
      if (turn === this.shown) {
        this.fill([h("h1", null, "This screen could not be shown"), troubleWords(error)]);
        this.banner.showRoute(route, this.entry);
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

  /**
   * Number the entries of the browser's history, so that Back knows whether there is one.
   *
   * @param {string} hash
   */
  countEntry(hash) {
    const known = window.history.state?.entry;
    if (typeof known === "number") {
      this.entry = known;
    } else {
      this.entry += this.isReplacing ? 0 : 1;
      window.history.replaceState({ entry: this.entry }, "");
    }
    this.isReplacing = false;
    this.hashes[this.entry] = hash;
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
  wearTextSize(keptTextSize());
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
