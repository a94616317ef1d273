/**
 * Putting a new face up: its label, what comes down and why, photos before and after.
 *
 * @module
 */
import { deviceDay } from "../clock.js";
import { keepDraft } from "../drafts.js";
import { clear, h, put } from "../dom.js";
import { misfits, sizeWords } from "../fits.js";
import { dayField, dayWrong, earlierOf, picked, saveBar, whyAgain, wordsField } from "../form.js";
import { identifiedOf } from "../identified.js";
import { LabelField } from "../label_field.js";
import { readLabel } from "../labels.js";
import { recordAction } from "../operations.js";
import { PhotoField } from "../photo_field.js";
import { chips, facePicture, linkButton, notice, section } from "../pieces.js";
import { makeHash } from "../router.js";
import { notCarried, signHead } from "../sign_head.js";
import { faceName } from "../sign_lines.js";
import { labelToPutUp } from "../stop_words.js";
import { loadPlace } from "../subject.js";

const LONGEST_NOTE = 255;
const MOST_OFFERED = 8;
/** The label that was scanned last, of a face that is not on a post. */
const FACE_IN_HAND = "face_in_hand";

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const here = await loadPlace(app, params.position, params.replaces);
  if (!here?.position) {
    notCarried(place, "Put up a new face");
    return;
  }
  const { position } = here;
  const old = here.sign?.state === "installed" ? here.sign : null;
  const earlier = await earlierOf(app, params);
  const today = deviceDay(app.now());
  const stop = params.stop ? await app.store.stop(Number(params.stop)) : null;
  const meant = labelToPutUp(stop);
  const stock = await fittingStock(app, position);
  const found = h("div", { class: "stack-small", role: "status", "data-face": "" });
  let warned = "";
  const label = new LabelField(app, {
    id: "label",
    label: "Label on the back of the new face",
    value: earlier.payload?.face?.label ?? params.face ?? app.memory.get(FACE_IN_HAND) ?? "",
    onChange: () => void showFace(),
  });
  const showFace = async () => {
    const face = await faceOfLabel(app, label.value);
    clear(found, await facePieces(app, face, label.value, position));
  };
  const reasons = chips({
    name: "removal_reason",
    legend: "Why the old face comes down",
    choices: app.basics?.words?.removal_reasons ?? [],
    value: earlier.payload?.removal_reason || null,
  });
  const oldNote = wordsField(
    "removed_note",
    "Note on the old face",
    earlier.payload?.removed_note ?? "",
    { most: LONGEST_NOTE },
  );
  const day = dayField("installed_on", "Put up on", earlier.payload?.installed_on ?? today);
  const before = new PhotoField(
    app,
    { id: "photo-before", label: "Take a photo before", role: "before", most: 2 },
  );
  const after = new PhotoField(
    app,
    { id: "photo-after", label: "Take a photo after", role: "after", most: 2 },
  );
  const bar = saveBar(app, {
    words: "Put this face up",
    check: () => {
      const { sentence } = readLabel(label.value);
      return [
        ...(
          label.value.trim()
            ? []
            : [
              {
                sentence: "Scan the label on the back of the new face, or type it.",
                input: label.input,
              },
            ]
        ),
        ...(label.value.trim() && sentence ? [{ sentence, input: label.input }] : []),
        ...(
          old && !picked(place, "removal_reason")
            ? [{ sentence: "Say why the old face comes down.", input: reasons }]
            : []
        ),
        ...dayWrong(day.input, today, "put up"),
      ];
    },
    record: async () => {
      const face = await faceOfLabel(app, label.value);
      refuseOnce(face ? misfits(face, position.asks ?? null, position.is_retired === true) : []);
      return recordAction(app, {
        kind: "install",
        payload: {
          position: here.placeRef,
          face: { label: readLabel(label.value).label },
          installed_on: day.input.value,
          replaces: old ? here.ref : null,
          removal_reason: old ? picked(place, "removal_reason") : "",
          removed_note: old ? oldNote.input.value.trim() : "",
        },
        sign: here.placeKey,
        needs: here.needs,
        replaces: earlier.replaces,
        baseVersion: position.version ?? "",
        identified: identifiedOf(params),
        photos: [...(await before.photos()), ...(await after.photos())],
      });
    },
    after: (operation) => {
      app.memory.delete(FACE_IN_HAND);
      app.go(
        makeHash("#/sign/:sign", { sign: operation.client_uuid, stop: params.stop }),
        { replace: true },
      );
    },
    said: "New face saved on this phone",
  });
  /**
   * A face that does not fit is said so once; a second tap records it as it is.
   *
   * @param {string[]} sentences
   */
  const refuseOnce = (sentences) => {
    const said = sentences.join(" ");
    if (said && said !== warned) {
      warned = said;
      throw new Error(
        `${said} The server will refuse it. If it is up all the same, tap again: your engineer then sees it.`,
      );
    }
  };
  put(
    place,
    h("h1", null, "Put up a new face"),
    whyAgain(earlier),
    section(
      "This place asks for",
      await signHead(
        app,
        { sign: null, position: { ...position, ...asked(position) }, support: here.support },
      ),
    ),
    section(
      "The new face",
      meant ? h("p", null, `Meant for this stop: face ${meant}.`) : null,
      label.element,
      found,
      stock.length ? stockChoice(stock, position, (text) => label.fill(text)) : null,
    ),
    old
      ? section(
        "What comes down",
        await signHead(app, { ...here, sign: old }),
        reasons,
        oldNote.element,
      )
      : notice(
        "",
        h(
          "p",
          null,
          "No face stands here, as far as this phone knows. If one does, look for the right place first.",
        ),
      ),
    day.element,
    before.element,
    after.element,
    position.id
      ? linkButton(
        "Other work needed here",
        makeHash("#/add-work/:position", { position: position.id }),
      )
      : null,
    bar,
  );
  await before.open(earlier.operation?.client_uuid ?? null);
  await after.open(earlier.operation?.client_uuid ?? null);
  keepDraft(place, window.location.hash, app.now().getTime());
  await showFace();
  return { placeName: here.support?.road || undefined };
}

/**
 * @param {Record<string, any>} position
 * @returns {Record<string, any>} its code and size as the server asks for them
 */
function asked(position) {
  const { code, variant, width_in, height_in } = position.asks ?? {};
  return code ? { code, variant, width_in, height_in } : {};
}

/**
 * Return the face with a label, in stock or already somewhere.
 *
 * @param {import("../page.js").App} app
 * @param {string} typed
 * @returns {Promise<any>}
 */
async function faceOfLabel(app, typed) {
  const { label } = readLabel(typed);
  const found = label ? await app.store.byLabel(label) : null;
  if (!found) {
    return null;
  }
  return found.kind === "face" ? found.face : { ...found.found.sign, stands_at: found.found };
}

/**
 * Return what is known of the face in hand, and whether it fits.
 *
 * @param {import("../page.js").App} app
 * @param {any} face
 * @param {string} typed
 * @param {Record<string, any>} position
 * @returns {Promise<(HTMLElement | null)[]>}
 */
async function facePieces(app, face, typed, position) {
  if (!typed.trim()) {
    return [];
  }
  const { label, sentence } = readLabel(typed);
  if (!label) {
    return [h("p", { class: "soft" }, sentence)];
  }
  if (!face) {
    return [
      notice(
        "",
        h(
          "p",
          null,
          `This phone does not carry a face with label ${label}. Save it all the same: the server knows every face and checks it.`,
        ),
      ),
    ];
  }
  if (face.stands_at) {
    const road = face.stands_at.support.road || "a road not known";
    return [
      notice(
        "stop",
        h(
          "p",
          null,
          `Label ${label} is on record as standing on ${road}, not in stock. Compare the label; if it is right, that face was moved.`,
        ),
      ),
    ];
  }
  const wrong = misfits(face, position.asks ?? null, position.is_retired === true);
  return [
    h(
      "p",
      null,
      h("strong", null, faceName(face)),
      face.legend_text ? ` “${face.legend_text}”` : "",
      `, ${sizeWords(face.width_in, face.height_in)}`,
    ),
    wrong.length
      ? notice(
        "stop",
        h("p", null, h("strong", null, "It does not fit here.")),
        wrong.map((each) => h("p", null, each)),
      )
      : h(
        "p",
        { class: "fits" },
        face.for_position_id === position.id
          ? "It fits, and was printed for this place."
          : "It fits this place.",
      ),
  ];
}

/**
 * Return faces in stock that fit a place, those printed for it first.
 *
 * @param {import("../page.js").App} app
 * @param {Record<string, any>} position
 * @returns {Promise<Array<Record<string, any>>>}
 */
async function fittingStock(app, position) {
  const stock = await app.store.stock();
  const fitting = stock.filter(
    (face) => face.label_id && misfits(
      /** @type {any} */ (face),
      position.asks ?? null,
      position.is_retired === true,
    ).length === 0,
  );
  const isFor = (/** @type {Record<string, any>} */ face) => Number(
    face.for_position_id === position.id,
  );
  const shown = fitting.sort((a, b) => isFor(b) - isFor(a)).slice(0, MOST_OFFERED);
  return Promise.all(
    shown.map(
      async (face) => (
        { ...face, svg: face.drawing ? await app.store.drawing(face.drawing) : null }
      ),
    ),
  );
}

/**
 * @param {Array<Record<string, any>>} stock
 * @param {Record<string, any>} position
 * @param {(label: string) => void} fill
 * @returns {HTMLElement}
 */
function stockChoice(stock, position, fill) {
  return h(
    "details",
    { open: stock.some((face) => face.for_position_id === position.id) },
    h(
      "summary",
      null,
      `Faces in stock that fit: ${stock.length === MOST_OFFERED ? `${MOST_OFFERED} or more` : stock.length}`,
    ),
    h(
      "ul",
      { class: "plain lines" },
      stock.map((face) =>
        h(
          "li",
          null,
          h(
            "button",
            { type: "button", class: "stock-face", onclick: () => fill(face.label_id) },
            facePicture(face.svg),
            h(
              "span",
              null,
              h("strong", null, face.label_id),
              h(
                "span",
                { class: "soft small" },
                ` ${face.for_position_id === position.id ? "printed for this place" : "stock"}`,
              ),
            ),
          ),
        ),
      ),
    ),
  );
}
