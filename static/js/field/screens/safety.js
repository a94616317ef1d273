/**
 * The reminder before the first action of a day.
 *
 * @module
 */
import { h } from "../dom.js";
import { actBar, primaryButton } from "../pieces.js";
import { FIRST_HASH } from "../routes.js";
import { keepSafetyRead } from "../safety_day.js";

/** What to mind, each with its heading. */
const REMINDERS = [
  ["Be seen.", "Wear the high-visibility vest your agency prescribes, day and night."],
  [
    "Park for a quick way out.",
    "Vehicle off the travelled way where you can, warning light on, out of the sight line of the sign you work on.",
  ],
  [
    "Traffic control first.",
    "Set up temporary traffic control as your agency’s rules ask for the road, the speed and the time it takes.",
  ],
  [
    "Never measure from the travel lane",
    "unless that lane is closed by such traffic control. If you cannot reach the sign safely, leave it and say so in a note.",
  ],
  ["Night work only as your agency allows it,", "and never alone where its rules ask for two."],
  ["Look up and down.", "Wires above, buried lines below a post, and where you put your feet."],
];

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const goOn = async () => {
    await keepSafetyRead(app);
    app.go(onward(params.next), { replace: true });
  };
  place.append(
    h("h1", null, "Before you start today"),
    h(
      "p",
      null,
      "A reminder, once a day. It is not training, and it does not replace your agency’s rules: where they say more, they hold.",
    ),
    h(
      "ul",
      { class: "safety-list" },
      REMINDERS.map(([heading, rest]) => h("li", null, h("strong", null, heading), ` ${rest}`)),
    ),
    actBar(primaryButton("I have read this: go on", goOn)),
  );
}

/**
 * Return a screen of this page; anything else becomes the first one.
 *
 * @param {string | undefined} next
 * @returns {string}
 */
function onward(next) {
  return next?.startsWith("#/") ? next : FIRST_HASH;
}
