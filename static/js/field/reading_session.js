/**
 * The readings of one sign while they are typed: which value comes next, and what is odd.
 *
 * Nothing here touches the page or the store; the keypad shows what this says.
 *
 * @module
 */
import {
  compareFractions,
  decimalWords,
  meanOf,
  readingProblem,
  sumReadings,
  toThousandths,
} from "../shared/verdict/readings.js";

/** No reading of three decimals and at most four figures before them is longer. */
const LONGEST_TYPED = 8;
const PERCENT = 100;

/**
 * What the primary key does with what stands on the keypad.
 *
 * @typedef {{ kind: "value" } | { kind: "colour", colour: string } | { kind: "save" }
 *   | { kind: "change" }} Step
 */

/** @typedef {{ values: [string, string[]][], at: number, typed: string, changing: number | null }} Kept */

export class ReadingSession {
  /**
   * @param {string[]} colours in the order they are read
   * @param {number} wanted how many values a colour usually has
   */
  constructor(colours, wanted) {
    this.colours = colours;
    this.wanted = wanted;
    /** @type {Map<string, string[]>} */
    this.values = new Map(colours.map((colour) => [colour, []]));
    this.at = 0;
    this.typed = "";
    /** @type {number | null} */
    this.changing = null;
  }

  /** The colour that is read now. */
  get colour() {
    return this.colours[this.at];
  }

  /**
   * @param {string} colour
   * @returns {string[]}
   */
  valuesOf(colour) {
    return this.values.get(colour) ?? [];
  }

  /** How many values there are, with the one on the keypad. */
  get count() {
    const kept = [...this.values.values()].reduce((sum, each) => sum + each.length, 0);
    return kept + (this.typed !== "" && this.changing === null ? 1 : 0);
  }

  /**
   * Take a key of the keypad; one that would make it no number is not taken.
   *
   * @param {string} key a figure, `.` or `erase`
   */
  press(key) {
    if (key === "erase") {
      this.typed = this.typed.slice(0, -1);
      return;
    }
    const typed = this.typed + key;
    if (typed.length <= LONGEST_TYPED && /^\d*(?:\.\d{0,3})?$/.test(typed)) {
      this.typed = typed;
    }
  }

  /** @returns {Step} what comes next */
  get step() {
    if (this.changing !== null) {
      return { kind: "change" };
    }
    const count = this.valuesOf(this.colour).length + (this.typed === "" ? 0 : 1);
    if (count < this.wanted) {
      return { kind: "value" };
    }
    const next = this.nextColour;
    return next === null ? { kind: "save" } : { kind: "colour", colour: next };
  }

  /** The next colour that has fewer values than usual, going round; null when there is none. */
  get nextColour() {
    const { length } = this.colours;
    for (let step = 1; step < length; step += 1) {
      const colour = this.colours[(this.at + step) % length];
      if (this.valuesOf(colour).length < this.wanted) {
        return colour;
      }
    }
    return null;
  }

  /**
   * Keep what stands on the keypad.
   *
   * @returns {string} what is wrong with it; "" when it is kept, or when nothing stands there
   */
  keep() {
    if (this.typed === "") {
      this.changing = null;
      return "";
    }
    const problem = readingProblem(this.typed);
    if (problem) {
      return problem;
    }
    if (this.changing === null) {
      this.valuesOf(this.colour).push(this.typed);
    } else {
      this.valuesOf(this.colour)[this.changing] = this.typed;
    }
    this.typed = "";
    this.changing = null;
    return "";
  }

  /**
   * Go to a colour; what stands on the keypad is kept first.
   *
   * @param {string} colour
   * @returns {string} what is wrong with what stands there; "" when one is there
   */
  goTo(colour) {
    const problem = this.keep();
    if (!problem) {
      this.at = this.colours.indexOf(colour);
    }
    return problem;
  }

  /**
   * Put a value back on the keypad to change it.
   *
   * @param {number} place
   * @returns {string}
   */
  change(place) {
    const problem = this.keep();
    if (!problem) {
      this.changing = place;
      this.typed = this.valuesOf(this.colour)[place];
    }
    return problem;
  }

  /** Take the value that is being changed out. */
  takeOut() {
    if (this.changing !== null) {
      this.valuesOf(this.colour).splice(this.changing, 1);
    }
    this.changing = null;
    this.typed = "";
  }

  /**
   * Return every colour's values, with the one on the keypad where it is a reading already.
   *
   * @returns {{ color: string, values: string[] }[]} colours that have any
   */
  sets() {
    return this.colours
      .map((color) => {
        const values = [...this.valuesOf(color)];
        if (color === this.colour && toThousandths(this.typed) !== null) {
          values.splice(this.changing ?? values.length, this.changing === null ? 0 : 1, this.typed);
        }
        return { color, values };
      })
      .filter(({ values }) => values.length > 0);
  }

  /** @returns {Kept} */
  asKept() {
    const { at, typed, changing } = this;
    return { values: [...this.values], at, typed, changing };
  }

  /** @param {Kept} kept what an earlier session of the same colours had */
  resume(kept) {
    for (const [colour, values] of kept.values) {
      if (this.values.has(colour)) {
        this.values.set(colour, [...values]);
      }
    }
    this.at = Math.min(kept.at, this.colours.length - 1);
    this.typed = kept.typed;
    this.changing = kept.changing;
  }
}

/**
 * Return what of the readings is more often a slip than true, a sentence each: what the server
 * asks to be confirmed, asked here already.
 *
 * @param {{ color: string, values: string[] }[]} sets
 * @returns {string[]}
 */
export function findUnlikely(sets) {
  const [white, red] = ["white", "red"].map((color) => {
    const { sum, count } = sumReadings(sets.find((each) => each.color === color)?.values ?? []);
    return count === 0 ? null : meanOf(sum, count);
  });
  if (!white || !red || compareFractions(white, red) >= 0) {
    return [];
  }
  return [
    `White reads ${decimalWords(white)} cd/lx/m² on average, below the red of the same face ` +
      `(${decimalWords(red)}), though white returns several times the light of red; correct ` +
      "them if they were typed as each other.",
  ];
}

/**
 * Return by what share of their mean values differ: their standard deviation over the mean.
 *
 * @param {string[]} values
 * @returns {number | null} null for fewer than two, or where the mean is 0
 */
export function spreadOf(values) {
  const numbers = values.map(toThousandths).filter((each) => each !== null);
  const mean = numbers.reduce((sum, each) => sum + each, 0) / numbers.length;
  if (numbers.length < 2 || mean === 0) {
    return null;
  }
  const squares = numbers.reduce((sum, each) => sum + (each - mean) ** 2, 0);
  return Math.sqrt(squares / (numbers.length - 1)) / mean;
}

/**
 * Return a warning about values that differ more than the agency reckons with; "" without one.
 *
 * @param {string} words of the colour
 * @param {string[]} values
 * @param {number | null | undefined} most_rel
 * @returns {string}
 */
export function spreadWarning(words, values, most_rel) {
  const spread = spreadOf(values);
  if (spread === null || most_rel === null || most_rel === undefined || spread <= most_rel) {
    return "";
  }
  const shown = (/** @type {number} */ share) => `${Math.round(share * PERCENT)} %`;
  return (
    `${words} spreads by ${shown(spread)} of its mean, more than the ${shown(most_rel)} your ` +
    "agency reckons with. Look for dirt, damage or a slip in typing; read more places."
  );
}
