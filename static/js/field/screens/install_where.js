/**
 * A face in hand, and where it goes up.
 *
 * @module
 */
import { clear, h, put } from "../dom.js";
import { misfits } from "../fits.js";
import { LabelField } from "../label_field.js";
import { readLabel } from "../labels.js";
import { lookAround } from "../nearby.js";
import { askPosition } from "../phone_position.js";
import { actBar, notice, primaryButton, section } from "../pieces.js";
import { makeHash } from "../router.js";
import { foundLine } from "../sign_lines.js";

/** @typedef {import("../types.js").Found} Found */

const MOST_NEAR = 12;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const places = h("div", { class: "stack-small", role: "status" });
  const face = new LabelField(app, {
    id: "face",
    label: "Label on the back of the new face",
    value: params.face ?? "",
    onChange: () => void showMade(),
  });
  const made = h("div");
  const old = new LabelField(app, {
    id: "old",
    label: "Or the label of the face that hangs there now",
    value: "",
    onChange: () => void showOld(),
  });
  const stands = h("div");
  /** @param {Found} found */
  const hashOf = (found) => makeHash(
    "#/install/:position",
    { position: found.position.id, face: readLabel(face.value).label },
  );
  /** @param {string} heading @param {Found[]} found @returns {Promise<HTMLElement | null>} */
  const group = async (heading, found) =>
    found.length
      ? section(
        heading,
        h(
          "ol",
          { class: "lines" },
          await Promise.all(found.map((each) => foundLine(app, each, { hash: hashOf(each) }))),
        ),
      )
      : null;
  const known = async (/** @type {string} */ typed) => {
    const { label } = readLabel(typed);
    return label ? app.store.byLabel(label) : null;
  };
  const showMade = async () => {
    const meant = await known(face.value);
    const id = meant?.kind === "face" ? meant.face.for_position_id : null;
    const position = id ? await app.store.position(id) : null;
    const support = position && (await app.store.support(position.support_id));
    const found = position && support
      ? (await app.store.foundOn(support)).filter((each) => each.position.id === id)
      : [];
    clear(made, await group("It was printed for", found));
  };
  const showOld = async () => {
    const meant = await known(old.value);
    clear(
      stands,
      meant?.kind === "sign" ? await group("That face hangs here", [meant.found]) : null,
    );
  };
  const lookNear = async () => {
    clear(places, h("p", null, "Finding where you are…"));
    try {
      const around = await lookAround(app.store, await askPosition());
      const all = [...around.candidates, ...around.empty, ...around.others];
      const meant = await known(face.value);
      const fits = meant?.kind === "face"
        ? all.filter(
          (each) => misfits(
            /** @type {any} */ (meant.face),
            each.position.asks ?? null,
            each.position.is_retired === true,
          ).length === 0,
        )
        : all;
      clear(
        places,
        await group(
          meant ? "Places near you that it fits" : "Places near you",
          fits.slice(0, MOST_NEAR),
        ),
      );
      if (fits.length === 0) {
        clear(places, notice("", h("p", null, "No place near you on this phone takes that face.")));
      }
    } catch (error) {
      clear(
        places,
        notice("warn", h("p", null, error instanceof Error ? error.message : String(error))),
      );
    }
  };
  put(
    place,
    h("h1", null, "Where does it go up?"),
    face.element,
    made,
    old.element,
    stands,
    places,
    actBar(primaryButton("Find places near me", lookNear)),
  );
  await showMade();
}
