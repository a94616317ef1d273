/**
 * Readings at the sign: a large keypad, and the verdict beside the running mean.
 *
 * @module
 */
import { clear, h, put } from "../dom.js";
import { earlierOf, sayTrouble, whyAgain } from "../form.js";
import { identifiedOf, identifiedQuery } from "../identified.js";
import { instrumentLine } from "../instrument_line.js";
import { recordAction } from "../operations.js";
import { actBar, notice } from "../pieces.js";
import { forgetReadingDraft, keepReadingDraft, readingDraft } from "../reading_draft.js";
import { openJudge } from "../reading_judge.js";
import { colourCards, keypad, valueLine } from "../reading_pieces.js";
import { ReadingSession, findUnlikely } from "../reading_session.js";
import { colourWords, verdictPieces } from "../reading_verdict.js";
import { makeHash } from "../router.js";
import { saySaved } from "../saved.js";
import { faceName } from "../sign_lines.js";
import { loadSubject } from "../subject.js";
import { surfaceChoice } from "../surface_choice.js";

/** @typedef {import("../page.js").App} App */
/** @typedef {import("../subject.js").Subject} Subject */
/** @typedef {import("../types.js").StoredOperation} StoredOperation */
/** @typedef {import("../../shared/verdict/types.js").TypedSet} TypedSet */

const USUAL_WANTED = 4;
/** Offered where it is not known which colours a face has. */
const COLOURS_IF_UNKNOWN = ["white", "yellow", "red", "green", "blue", "brown", "orange"];
const LEVEL_GEOMETRY = { observation_angle_deg: "0.2", entrance_angle_deg: "-4.0" };
const SAY_THE_SURFACE = "Say how the face is: tap Dry, Wet, Dirty or Cleaned.";

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const subject = await loadSubject(app, params.sign);
  if (!subject?.sign) {
    put(place, h("h1", null, "Readings"));
    put(
      place,
      notice(
        "warn",
        h("p", null, "This phone does not carry this sign. Find it again, or take its area along."),
      ),
    );
    return undefined;
  }
  const parts = await openParts(app, params, subject);
  const screen = new ReadScreen(place, params, app, subject, parts);
  await screen.show();
  return { placeName: subject.support?.road ?? "" };
}

/**
 * @param {App} app
 * @param {Record<string, string>} params
 * @param {Subject} subject
 */
async function openParts(app, params, subject) {
  const earlier = await earlierOf(app, params);
  const colours = subject.sign?.colours?.length ? subject.sign.colours : COLOURS_IF_UNKNOWN;
  const session = new ReadingSession(
    [...colours],
    app.basics?.reading?.least_wanted ?? USUAL_WANTED,
  );
  const draft = earlier.payload ? null : readingDraft(params.sign, app.now().getTime());
  if (earlier.payload) {
    const sets = earlier.payload.reading_sets ?? [];
    const values = sets.map((/** @type {TypedSet} */ set) => [set.color, set.values]);
    session.resume({ values, at: 0, typed: "", changing: null });
  } else if (draft) {
    session.resume(draft.kept);
  }
  const leftOut = earlier.replaces ?? params.from ?? params.corrects ?? null;
  return { earlier, session, draft, judgeNow: await openJudge(app, subject, leftOut) };
}

class ReadScreen {
  /**
   * @param {HTMLElement} place
   * @param {Record<string, string>} params
   * @param {App} app
   * @param {Subject} subject
   * @param {Awaited<ReturnType<typeof openParts>>} parts
   */
  constructor(place, params, app, subject, { earlier, session, draft, judgeNow }) {
    this.place = place;
    this.params = params;
    this.app = app;
    this.subject = subject;
    this.earlier = earlier;
    this.session = session;
    this.judgeNow = judgeNow;
    this.hasDraft = draft !== null;
    this.isSaving = false;
    this.words = /** @type {Record<string, string>} */ (app.basics?.policy?.color_words ?? {});
    this.surface = surfaceChoice(app, earlier.payload?.surface_state ?? draft?.surface ?? "", () =>
      this.refresh(),
    );
    /** @type {import("../instrument_line.js").InstrumentLine | null} */
    this.instrument = null;
    this.cards = colourCards(session, this.words, (colour) => this.take(session.goTo(colour)));
    this.value = valueLine(session, (at) => this.take(session.change(at)));
    this.verdict = h("div", { class: "verdict-line", role: "status", "data-verdict": "" });
    this.note = h("textarea", {
      id: "note",
      rows: 2,
      maxlength: 2000,
      value: earlier.payload?.note ?? "",
    });
    this.trouble = h("div", {
      class: "notice stop",
      role: "alert",
      tabindex: "-1",
      "data-refusal": true,
      hidden: true,
    });
    this.primary = h("button", {
      type: "button",
      class: "button primary",
      "data-primary": true,
      onclick: () => this.goOn(),
    });
    this.secondary = h("button", {
      type: "button",
      class: "button",
      "data-secondary": true,
      onclick: () => this.goAside(),
    });
  }

  /** Put everything in its place. */
  async show() {
    const { app, place } = this;
    this.instrument = await instrumentLine(app, this.earlier.payload?.instrument_id, () =>
      this.refresh(),
    );
    place.classList.add("reading");
    put(place, h("h1", null, `Read ${faceName(this.subject.sign ?? {})}`), whyAgain(this.earlier));
    if (this.params.corrects) {
      put(
        place,
        notice(
          "",
          h(
            "p",
            null,
            "What you save here takes the place of the readings before. Those stay on record.",
          ),
        ),
      );
    }
    if (this.hasDraft) {
      put(place, this.draftNotice());
    }
    put(place, this.surface.element, this.instrument.element, this.cards.element, this.noteField());
    // All that the thumb works stands at the bottom, and what is said above it grows upwards: the
    // keys never move under the thumb.
    put(
      place,
      actBar(
        this.trouble,
        this.verdict,
        this.value.element,
        keypad((key) => this.press(key)),
        h("div", { class: "keys-pair" }, this.secondary, this.primary),
      ),
    );
    // A keyboard, where there is one, types too.
    document.addEventListener("keydown", (event) => this.typeKey(event), { signal: app.leaving() });
    this.refresh();
  }

  /** @returns {HTMLElement} */
  noteField() {
    return h(
      "details",
      { open: this.note.value !== "" },
      h("summary", null, "Add a note"),
      h("div", { class: "field" }, h("label", { for: "note" }, "Note"), this.note),
    );
  }

  /** @returns {HTMLElement} */
  draftNotice() {
    const box = notice("", h("p", null, "You typed these before and did not save them."));
    const startAfresh = () => {
      forgetReadingDraft(this.params.sign);
      this.app.go(window.location.hash);
    };
    put(
      box,
      h("button", { type: "button", class: "button", onclick: startAfresh }, "Start afresh"),
    );
    return box;
  }

  /** @param {string} key */
  press(key) {
    this.session.press(key);
    this.take("");
  }

  /** @param {KeyboardEvent} event */
  typeKey(event) {
    const isTyping =
      event.target instanceof HTMLElement && event.target.closest("input, select, textarea");
    if (isTyping || event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    if (/^[0-9.]$/.test(event.key)) {
      this.press(event.key);
    } else if (event.key === "Backspace") {
      event.preventDefault();
      this.press("erase");
    }
  }

  /**
   * Show what there is after a step, or what hinders it.
   *
   * @param {string} problem
   */
  take(problem) {
    this.sayProblem(problem);
    keepReadingDraft(this.params.sign, {
      at_ms: this.app.now().getTime(),
      kept: this.session.asKept(),
      surface: this.surface.value(),
    });
    this.refresh();
  }

  /** @param {string} problem */
  sayProblem(problem) {
    this.trouble.hidden = problem === "";
    clear(this.trouble, problem ? h("p", null, problem) : null);
  }

  /** The primary key: the next value, the next colour, or all of it saved. */
  goOn() {
    const { step } = this.session;
    if (step.kind === "save") {
      void this.save();
    } else if (step.kind === "colour") {
      this.take(this.session.goTo(step.colour));
    } else if (this.session.typed === "") {
      this.take(`Type the value the instrument shows for ${this.wordsOf(this.session.colour)}.`);
    } else {
      this.take(this.session.keep());
    }
  }

  /** The key beside it: one more value, on to another colour, save with fewer, or take out. */
  goAside() {
    const { session } = this;
    const aside = this.aside();
    if (aside.kind === "take out") {
      session.takeOut();
      this.take("");
    } else if (aside.kind === "more") {
      this.take(session.typed === "" ? "Type the value the instrument shows." : session.keep());
    } else if (aside.kind === "colour") {
      this.take(session.goTo(aside.colour));
    } else {
      void this.save();
    }
  }

  /** @returns {{ kind: "take out" } | { kind: "more" } | { kind: "colour", colour: string } | { kind: "save" }} */
  aside() {
    const { step, nextColour } = this.session;
    if (step.kind === "change") {
      return { kind: "take out" };
    }
    if (step.kind !== "value") {
      return { kind: "more" };
    }
    return nextColour === null ? { kind: "save" } : { kind: "colour", colour: nextColour };
  }

  /** Bring everything on the screen up to date with what is typed. */
  refresh() {
    const answer = this.judgeNow(this.sets());
    this.cards.show(answer);
    this.value.show();
    const most_rel = this.app.basics?.reading?.spread_warning_rel;
    clear(this.verdict, verdictPieces(this.session, answer, this.words, most_rel));
    const { step } = this.session;
    this.primary.textContent = {
      value: "Next value",
      change: "Keep value",
      colour: step.kind === "colour" ? `Next: ${this.wordsOf(step.colour)}` : "",
      save: "Save readings",
    }[step.kind];
    const aside = this.aside();
    this.secondary.textContent = {
      "take out": "Take out",
      more: "One more",
      colour: aside.kind === "colour" ? `To ${this.wordsOf(aside.colour)}` : "",
      save: "Save now",
    }[aside.kind];
  }

  /** @returns {TypedSet[]} what is typed, as the verdict and the server take it */
  sets() {
    const instrument = this.instrument?.value() ?? null;
    return this.session.sets().map((each) => ({
      ...each,
      how: "hand_held",
      surface_state: this.surface.value(),
      observation_angle_deg:
        instrument?.observation_angle_deg ?? LEVEL_GEOMETRY.observation_angle_deg,
      entrance_angle_deg: instrument?.entrance_angle_deg ?? LEVEL_GEOMETRY.entrance_angle_deg,
      doubt: instrument?.doubt ?? "",
      instrument_id: instrument?.id ?? null,
    }));
  }

  /** Save, unless something has to be said or confirmed first. */
  async save() {
    const problem = this.session.keep();
    const sets = this.session.sets();
    if (problem || sets.length === 0 || this.surface.value() === "") {
      this.take(problem || (sets.length === 0 ? "Type at least one value." : SAY_THE_SURFACE));
      return;
    }
    const unlikely = findUnlikely(sets);
    if (unlikely.length > 0) {
      this.take("");
      this.askToConfirm(unlikely);
      return;
    }
    await this.record(false);
  }

  /** @param {string[]} unlikely */
  askToConfirm(unlikely) {
    this.trouble.hidden = false;
    clear(
      this.trouble,
      unlikely.map((sentence) => h("p", null, sentence)),
      h(
        "div",
        { class: "button-pair" },
        h(
          "button",
          { type: "button", class: "button", onclick: () => this.take("") },
          "Change the values",
        ),
        h(
          "button",
          {
            type: "button",
            class: "button",
            "data-confirm": true,
            onclick: () => this.record(true),
          },
          "It is so: save",
        ),
      ),
    );
    this.trouble.focus();
  }

  /**
   * @param {boolean} isConfirmed
   */
  async record(isConfirmed) {
    await this.attempt(() => recordAction(this.app, this.action(isConfirmed)));
  }

  /** @param {() => Promise<StoredOperation>} store */
  async attempt(store) {
    if (this.isSaving) {
      return;
    }
    this.isSaving = true;
    try {
      const operation = await store();
      forgetReadingDraft(this.params.sign);
      this.surface.remember();
      await this.app.refreshCount();
      this.leave(operation);
    } catch (error) {
      sayTrouble(this.trouble, this.app, error, (unsaved) => this.attempt(() => unsaved.again()));
    } finally {
      this.isSaving = false;
    }
  }

  /** @param {StoredOperation} operation */
  leave(operation) {
    const query = { ...identifiedQuery(identifiedOf(this.params)), stop: this.params.stop };
    this.app.closeTo(makeHash("#/sign/:sign", { sign: this.params.sign, ...query }));
    const again = makeHash("#/read/:sign", {
      sign: this.params.sign,
      ...query,
      from: operation.client_uuid,
    });
    saySaved(this.app, operation, "Saved on this phone", again);
  }

  /**
   * @param {boolean} isConfirmed
   * @returns {import("../operations.js").Action}
   */
  action(isConfirmed) {
    const { subject, earlier, params } = this;
    const answer = this.judgeNow(this.sets());
    const corrected = earlier.payload?.corrects ?? correctedRef(params.corrects);
    return {
      kind: "inspection",
      sign: subject.signKey,
      needs: [...subject.needs, ...(corrected?.operation ? [corrected.operation] : [])],
      replaces: earlier.replaces,
      identified: identifiedOf(params),
      payload: {
        sign: subject.ref,
        how: "hand_held",
        surface_state: this.surface.value(),
        instrument_id: this.instrument?.value()?.id ?? null,
        note: this.note.value.trim(),
        reading_sets: this.sets().map((set) => ({
          color: set.color,
          values: set.values,
          observation_angle_deg: set.observation_angle_deg,
          entrance_angle_deg: set.entrance_angle_deg,
          rotation_angle_deg: null,
        })),
        observations: [],
        visual_rating: null,
        corrects: corrected,
        is_confirmed: isConfirmed,
        shown: answer
          ? {
              method_version: this.app.basics?.policy?.method_version ?? "",
              verdict: answer.verdict,
            }
          : null,
      },
    };
  }

  /**
   * @param {string} colour
   * @returns {string}
   */
  wordsOf(colour) {
    return colourWords(this.words, colour);
  }
}

/**
 * @param {string | undefined} key the server's number of an inspection, or an operation's uuid
 * @returns {{ id?: number, operation?: string } | null}
 */
function correctedRef(key) {
  if (!key) {
    return null;
  }
  return /^\d+$/.test(key) ? { id: Number(key) } : { operation: key };
}
