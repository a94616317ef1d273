/**
 * Finding a sign by the QR code on the label on its back.
 *
 * @module
 */
import { clear, h, put } from "../dom.js";
import { labelInCode } from "../label_codes.js";
import { actBar, linkButton, notice, primaryLink } from "../pieces.js";
import { makeHash } from "../router.js";
import { startScanner } from "../scanner.js";
import { faceName, nothingCarried, waysToFind } from "../sign_lines.js";

/** @typedef {import("../page.js").App} App */

const BUZZ_MS = 60;
/** Where the label is remembered for the screen that puts the face up. */
const FACE_IN_HAND = "face_in_hand";

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, _params, app) {
  const leaving = app.leaving();
  const view = h("div", { class: "viewfinder" }, h("p", { class: "soft" }, "Starting the camera…"));
  const said = h("div", { role: "status", "data-scanned": "" });
  const torch = h("div");
  let last = "";
  /** @param {string} text */
  const onText = async (text) => {
    if (text === last) {
      return;
    }
    last = text;
    navigator.vibrate?.(BUZZ_MS);
    const pieces = await meaning(app, text);
    if (!leaving.aborted && pieces !== null) {
      clear(said, pieces);
    }
  };
  put(place, h("h1", null, "Scan a label"), waysToFind("scan"), await nothingCarried(app));
  put(
    place,
    h("p", null, "Hold the camera over the square code on the back of the sign."),
    view,
    torch,
    said,
  );
  put(place, actBar(primaryLink("Type the id instead", "#/type")));
  // The screen is shown while the camera starts: it may take a while, or a question.
  startScanner(leaving, onText).then(
    (scanner) => {
      clear(view, scanner.video);
      if (scanner.hasTorch) {
        clear(torch, torchButton(scanner));
      }
    },
    (error) => clear(view, notice("warn", h("p", null, error.message))),
  );
}

/**
 * Go to the sign of a code, or return what to say of it.
 *
 * @param {App} app
 * @param {string} text
 * @returns {Promise<HTMLElement[] | null>} null once another screen is shown
 */
async function meaning(app, text) {
  const { label, sentence } = labelInCode(text);
  if (!label) {
    return [notice("warn", h("p", null, sentence))];
  }
  const known = await app.store.byLabel(label);
  if (known?.kind === "sign" && known.found.sign) {
    app.go(makeHash("#/sign/:sign", { sign: known.found.sign.id, by: "label" }));
    return null;
  }
  if (known?.kind === "face") {
    app.memory.set(FACE_IN_HAND, label);
    return [
      notice(
        "",
        h("p", null, h("strong", null, `${faceName(known.face)}, label ${label}`)),
        h("p", null, "This face is not on a post yet. "),
        linkButton("Where does it go up?", makeHash("#/install", { face: label })),
      ),
    ];
  }
  return [
    notice(
      "warn",
      h("p", null, h("strong", null, `Label ${label}`)),
      h(
        "p",
        null,
        "This phone carries no sign with this label. Take its area along, or find the sign another way.",
      ),
    ),
  ];
}

/**
 * @param {import("../scanner.js").Scanner} scanner
 * @returns {HTMLElement}
 */
function torchButton(scanner) {
  let isOn = false;
  const button = h(
    "button",
    { type: "button", class: "button", "aria-pressed": "false" },
    "Light on",
  );
  button.addEventListener("click", async () => {
    isOn = !isOn;
    await scanner.setTorch(isOn);
    button.setAttribute("aria-pressed", String(isOn));
    button.textContent = isOn ? "Light off" : "Light on";
  });
  return button;
}
