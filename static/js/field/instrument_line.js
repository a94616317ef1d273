/**
 * The line that names the instrument in hand; a tap on it shows the others.
 *
 * @module
 */
import { clear, h, put } from "./dom.js";
import {
  instrumentInHand,
  instrumentWords,
  lastCheck,
  takeInstrument,
} from "./instrument_choice.js";
import { chips, linkButton } from "./pieces.js";

/** @typedef {import("./instrument_choice.js").Instrument} Instrument */

/**
 * @typedef {object} InstrumentLine
 * @property {HTMLElement} element
 * @property {() => Instrument | null} value
 */

/**
 * Return the line, with the instrument in hand or the one that is named.
 *
 * @param {import("./page.js").App} app
 * @param {number | null | undefined} namedId undefined: the one in hand
 * @param {() => unknown} onChange
 * @returns {Promise<InstrumentLine>}
 */
export async function instrumentLine(app, namedId, onChange) {
  const known = /** @type {Instrument[]} */ (app.basics?.instruments ?? []);
  let instrument =
    namedId === undefined
      ? await instrumentInHand(app)
      : (known.find((each) => each.id === namedId) ?? null);
  const element = h("div", { class: "instrument" });
  const shut = async () => {
    const check = instrument ? await lastCheck(app, instrument) : null;
    const said = instrument ? instrumentWords(instrument, check, app.now()) : null;
    clear(
      element,
      h(
        "button",
        { type: "button", class: "instrument-line", "aria-expanded": "false", onclick: open },
        h("strong", null, instrument ? instrument.serial : "Which instrument?"),
        h("span", { class: "small" }, said ? said.words : "Tap to name the one in your hand."),
        said?.warning ? h("span", { class: "small caution" }, said.warning) : null,
      ),
    );
  };
  const open = () => {
    clear(
      element,
      chips({
        name: "instrument",
        legend: "The instrument in your hand",
        choices: [
          ...known.map((each) => /** @type {[string, string]} */ ([String(each.id), each.serial])),
          ["", "not on this list"],
        ],
        value: instrument ? String(instrument.id) : null,
        isColumn: true,
        onPick: async (picked) => {
          instrument = known.find((each) => String(each.id) === picked) ?? null;
          await takeInstrument(app, instrument?.id ?? null);
          await shut();
          onChange();
        },
      }),
    );
    put(element, linkButton("Check an instrument", "#/check"));
  };
  await shut();
  return { element, value: () => instrument };
}
