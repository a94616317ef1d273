/**
 * Adding a sign that is not on record: what is seen of it, and the rest stays unknown.
 *
 * @module
 */
import { DIRECTIONS, compassWords, facingOf } from "../bearings.js";
import { CodePicker } from "../code_picker.js";
import { readHeading } from "../compass.js";
import { keepDraft } from "../drafts.js";
import { h, put } from "../dom.js";
import { FixMeter } from "../fix_meter.js";
import { earlierOf, numberField, picked, pickField, saveBar, textField, whyAgain, wordsField } from "../form.js";
import { identifiedOf } from "../identified.js";
import { LabelField } from "../label_field.js";
import { readLabel } from "../labels.js";
import { recordAction } from "../operations.js";
import { PhotoField } from "../photo_field.js";
import { chips, section } from "../pieces.js";
import { makeHash } from "../router.js";
import { roadWords } from "../sign_head.js";
import { supportNow } from "../subject.js";

const LONGEST_NOTE = 255;
const LARGEST_SIDE_IN = 1200;
const HERE = "here";
const NEW = "new";
const NOT_KNOWN = "";
/** Roads are offered that have a sign so near. */
const NEAR_M = 500;
const PARTS = /** @type {const} */ (["background", "legend"]);

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const earlier = await earlierOf(app, params);
  const before = earlier.payload;
  const support = params.support ? await supportNow(app, Number(params.support)) : null;
  const basics = app.basics ?? {};
  const meter = new FixMeter(app);
  const post = newSupport(basics, before?.support?.new ?? null);
  meter.onChange = () => void offerRoads(app, meter.fix, post.road);
  const newPlace = h("div", { class: "stack-small" }, meter.element, post.element);
  const where = chips({
    name: "where",
    legend: "It stands",
    choices: [
      [HERE, `on this support, ${roadWords(support)}`],
      [NEW, "on a support that is not on record, where I stand"],
    ],
    value: support ? HERE : NEW,
    isColumn: true,
    onPick: () => drawPlace(),
  });
  where.hidden = !support;
  const drawPlace = () => {
    newPlace.hidden = picked(place, "where") !== NEW;
    if (!newPlace.hidden && !meter.fix && !meter.watching) {
      meter.start();
    }
  };
  const code = new CodePicker(basics.codes ?? [], before?.sign_code ?? "");
  const variant = textField(
    "variant",
    "Variant, such as L or R",
    before?.variant ?? "",
    { most: 8 },
  );
  const legend = textField("legend_text", "Words on it", before?.legend_text ?? "");
  const width = numberField("width_in", "Width, inches", text(before?.width_in));
  const height = numberField("height_in", "Height, inches", text(before?.height_in));
  const facing = new FacingField(before?.facing_deg ?? null);
  const order = numberField(
    "order_on_support",
    "Place on the support, 1 is the top",
    text(before?.order_on_support),
  );
  const mounts = chips(
    {
      name: "mount",
      legend: "Mount",
      choices: basics.mounts ?? [],
      value: before?.mount ?? "",
    },
  );
  const colours = PARTS.map(
    (part) => colourFields(
      part,
      basics,
      (before?.colours ?? []).find((/** @type {any} */ each) => each.part === part),
    ),
  );
  const label = new LabelField(
    app,
    { id: "label", label: "Label on its back", value: before?.label_id ?? "" },
  );
  const note = wordsField("note", "Note", before?.note ?? "", { most: LONGEST_NOTE });
  const photo = new PhotoField(app, { id: "photo", label: "Take a photo", role: "seen" });
  put(
    place,
    h("h1", null, "Add a sign"),
    h(
      "p",
      null,
      "For a sign that is not on record. Fill in what you see and leave the rest empty: empty means not known. Your engineer looks at it.",
    ),
    whyAgain(earlier),
    section("Where", where, newPlace),
    section(
      "What",
      photo.element,
      code.element,
      variant.element,
      legend.element,
      h("div", { class: "two-fields" }, width.element, height.element),
    ),
    section("How it stands", facing.element, order.element, mounts),
    section("Colours", colours.map((each) => each.element)),
    section("Label and note", label.element, note.element),
    saveBar(app, {
      words: "Add this sign",
      check: () => [
        ...(
          picked(place, "where") === NEW && !meter.fix
            ? [
              {
                sentence: "The phone has not found where it is yet. Wait for its position, in the open.",
              },
            ]
            : []
        ),
        ...lengthWrong(width.input, "width"),
        ...lengthWrong(height.input, "height"),
        ...orderWrong(order.input),
        ...(label.value.trim() && readLabel(label.value).sentence
          ? [
            {
              sentence: `${readLabel(label.value).sentence} If it cannot be read, empty the box and write what you see into the note.`,
              input: label.input,
            },
          ]
          : []),
      ],
      record: async () => {
        meter.stop();
        return recordAction(app, {
          kind: "add_sign",
          payload: {
            support: picked(place, "where") === NEW || !support
              ? { new: post.value(meter.fix) }
              : { id: support.id },
            sign_code: code.value,
            variant: variant.input.value.trim(),
            legend_text: legend.input.value.trim(),
            width_in: number(width.input.value),
            height_in: number(height.input.value),
            facing_deg: facing.value,
            mount: picked(place, "mount"),
            order_on_support: number(order.input.value),
            colours: colours.map((each) => each.value()).filter((each) => each !== null),
            label_id: label.value.trim() ? readLabel(label.value).label : "",
            note: note.input.value.trim(),
          },
          sign: support ? `support:${support.id}` : "",
          replaces: earlier.replaces,
          identified: identifiedOf(params),
          photos: await photo.photos(),
        });
      },
      after: (operation) => app.go(
        makeHash("#/sign/:sign", { sign: operation.client_uuid }),
        { replace: true },
      ),
      said: "Sign saved on this phone",
    }),
  );
  await photo.open(earlier.operation?.client_uuid ?? null);
  keepDraft(place, window.location.hash, app.now().getTime());
  drawPlace();
  return { placeName: support?.road || undefined };
}

/** Which way the front looks: one of eight directions, or by the phone's compass. */
class FacingField {
  /** @param {number | null} value */
  constructor(value) {
    this.value = value;
    this.status = h("p", { role: "status", class: "small" });
    this.chips = chips({
      name: "facing",
      legend: "Its front faces",
      choices: [
        ...DIRECTIONS.map(
          ({ words, bearing_deg }) => /** @type {[string, string]} */ (
            [String(bearing_deg), words]
          ),
        ),
        [NOT_KNOWN, "not known"],
      ],
      value: value === null ? NOT_KNOWN : String(nearest(value)),
      onPick: (picked_deg) => {
        this.value = picked_deg === NOT_KNOWN ? null : Number(picked_deg);
        this.status.textContent = "";
      },
    });
    const compass = h(
      "button",
      { type: "button", class: "button", onclick: () => this.readCompass() },
      "Use the compass",
    );
    this.element = h(
      "div",
      { class: "stack-small" },
      this.chips,
      compass,
      this.status,
    );
  }

  async readCompass() {
    this.status.textContent = "Stand in front of the sign and point the top of the phone at it…";
    const looking_deg = await readHeading();
    if (looking_deg === null) {
      this.status.textContent = "This phone gave no compass reading. Pick a direction instead.";
      return;
    }
    const facing_deg = facingOf(looking_deg);
    const radio = this.chips.querySelector(`input[value="${nearest(facing_deg)}"]`);
    if (radio instanceof HTMLInputElement) {
      radio.checked = true;
      radio.dispatchEvent(new Event("input", { bubbles: true }));
    }
    this.value = facing_deg;
    this.status.textContent = `By the compass it faces ${compassWords(facing_deg)}, ${facing_deg}°. A phone’s compass can be 20° off, more beside steel: pick another direction if this looks wrong.`;
  }
}

/**
 * @param {number} bearing_deg
 * @returns {number} of the nearest of the eight directions
 */
function nearest(bearing_deg) {
  return DIRECTIONS[Math.round(bearing_deg / 45) % DIRECTIONS.length].bearing_deg;
}

/**
 * @param {Record<string, any>} basics
 * @param {Record<string, any> | null} before
 */
function newSupport(basics, before) {
  const kind = pickField(
    "support_type",
    "Kind of support",
    basics.support_types ?? [],
    before?.support_type ?? "",
    { empty: "not known" },
  );
  const side = textField(
    "side",
    "Side of the road",
    before?.side ?? "",
    { most: 24, hint: "For example: east side, median." },
  );
  const road = pickField(
    "road_id",
    "Road",
    [],
    "",
    { empty: "not known", hint: "Roads with signs near you, the nearest first." },
  );
  if (before?.road_id) {
    road.input.append(h("option", { value: before.road_id }, "the road picked before"));
    road.input.value = String(before.road_id);
  }
  return {
    element: h("div", { class: "stack-small" }, road.element, side.element, kind.element),
    road: road.input,
    /** @param {import("../fixes.js").Fix | null} fix */
    value: (fix) => ({
      latitude_deg: Number((fix?.latitude_deg ?? before?.latitude_deg ?? 0).toFixed(7)),
      longitude_deg: Number((fix?.longitude_deg ?? before?.longitude_deg ?? 0).toFixed(7)),
      accuracy_m: fix?.accuracy_m ?? before?.accuracy_m ?? null,
      support_type: kind.input.value,
      side: side.input.value.trim(),
      road_id: road.input.value ? Number(road.input.value) : null,
    }),
  };
}

/**
 * Offer the roads that pass near a fix; one that was picked stays picked.
 *
 * @param {import("../page.js").App} app
 * @param {import("../fixes.js").Fix | null} fix
 * @param {HTMLSelectElement} road
 */
async function offerRoads(app, fix, road) {
  if (!fix) {
    return;
  }
  const around = await app.store.signsNear(fix, NEAR_M);
  for (const { support } of around) {
    const isOffered = [...road.options].some((each) => each.value === String(support.road_id));
    if (support.road_id && !isOffered) {
      road.append(h("option", { value: support.road_id }, support.road));
    }
  }
}

/**
 * @param {typeof PARTS[number]} part
 * @param {Record<string, any>} basics
 * @param {Record<string, any> | undefined} before
 */
function colourFields(part, basics, before) {
  const words = (basics.parts ?? []).find(
    (/** @type {[string, string]} */ [key]) => key === part,
  )?.[1] ?? part;
  const empty = "not known";
  const color = pickField(
    `color_${part}`,
    `Colour of the ${words}`,
    basics.all_colours ?? basics.colours ?? [],
    before?.color ?? "",
    { empty },
  );
  const sheeting = pickField(
    `sheeting_${part}`,
    "Sheeting type",
    basics.sheeting_types ?? [],
    before?.sheeting_type ?? "",
    { empty },
  );
  const optics = pickField(
    `optics_${part}`,
    "Optics",
    basics.optics ?? [],
    before?.optics ?? "",
    { empty },
  );
  return {
    element: h(
      "div",
      { class: "stack-small" },
      color.element,
      h(
        "details",
        null,
        h("summary", null, `Sheeting of the ${words}, if you can tell`),
        h("div", { class: "two-fields" }, sheeting.element, optics.element),
      ),
    ),
    value: () => {
      const seen = {
        part,
        color: color.input.value,
        sheeting_type: sheeting.input.value,
        optics: optics.input.value,
      };
      return seen.color || seen.sheeting_type || seen.optics ? seen : null;
    },
  };
}

/**
 * @param {HTMLInputElement} input
 * @param {string} name
 * @returns {import("../form.js").Wrong[]}
 */
function lengthWrong(input, name) {
  const typed = input.value.trim();
  const value = number(typed);
  if (!typed || (value !== null && value > 0 && value <= LARGEST_SIDE_IN)) {
    return [];
  }
  return [
    {
      sentence: `The ${name} is “${typed}”; write it in inches, over 0 and at most ${LARGEST_SIDE_IN}, or leave it empty.`,
      input,
    },
  ];
}

/**
 * @param {HTMLInputElement} input
 * @returns {import("../form.js").Wrong[]}
 */
function orderWrong(input) {
  const typed = input.value.trim();
  return !typed || /^[1-9]\d?$/.test(typed)
    ? []
    : [
      {
        sentence: `The place on the support is “${typed}”; write 1 for the uppermost, 2 for the next, or leave it empty.`,
        input,
      },
    ];
}

/**
 * @param {string} typed
 * @returns {number | null}
 */
function number(typed) {
  const words = typed.trim();
  return /^(?:\d+(?:\.\d*)?|\.\d+)$/.test(words) ? Number(words) : null;
}

/**
 * @param {number | null | undefined} value
 * @returns {string}
 */
function text(value) {
  return value === null || value === undefined ? "" : String(value);
}
