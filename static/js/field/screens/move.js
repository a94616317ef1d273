/**
 * Moving a support to where the phone is: only this does, and only when the person says so.
 *
 * @module
 */
import { keepDraft } from "../drafts.js";
import { bearingDeg, distanceM } from "../distances.js";
import { clear, h, put } from "../dom.js";
import { FixMeter } from "../fix_meter.js";
import { isWorse } from "../fixes.js";
import { earlierOf, saveBar, textField, tickField, whyAgain } from "../form.js";
import { recordAction } from "../operations.js";
import { notice } from "../pieces.js";
import { pointWords } from "../recorded_words.js";
import { notCarried, roadWords } from "../sign_head.js";
import { loadSubject, supportNow } from "../subject.js";
import { way, wayTo } from "../way_words.js";

/** Further than this a support is more often taken for another. */
const FAR_M = 150;
const LONGEST_REASON = 255;

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const { support, ref, key, needs } = await supportOf(app, params.support);
  if (!support) {
    notCarried(place, "Move this support");
    return;
  }
  const earlier = await earlierOf(app, params);
  const meter = new FixMeter(app);
  const outcome = h("div", { class: "stack-small", role: "status" });
  const sure = tickField("sure", "Move it all the same", false);
  const reason = textField("reason", "Why it is moved", earlier.payload?.reason ?? "", {
    most: LONGEST_REASON,
    hint: "For example: put up anew behind the ditch. Empty is allowed.",
  });
  /** @returns {string} what has to be confirmed before it is moved */
  const doubt = () => {
    const { fix } = meter;
    if (!fix) {
      return "";
    }
    if (isWorse(fix.accuracy_m, support.accuracy_m)) {
      return `The phone’s position is worse than the one on record: good to ${way(fix.accuracy_m)} instead of ${way(support.accuracy_m)}.`;
    }
    const off_m = distanceM(support, fix);
    return off_m > FAR_M
      ? `That is ${way(off_m)} from the point on record. Is this the right support?`
      : "";
  };
  meter.onChange = () => {
    const { fix } = meter;
    const doubtful = doubt();
    clear(
      outcome,
      fix
        ? h(
          "p",
          null,
          h("strong", null, wayWords(distanceM(support, fix), bearingDeg(support, fix))),
        )
        : null,
      doubtful ? notice("warn", h("p", null, doubtful), sure.element) : null,
    );
    if (!doubtful) {
      sure.input.checked = false;
    }
  };
  put(
    place,
    h("h1", null, "Move this support"),
    whyAgain(earlier),
    h(
      "section",
      null,
      h("h2", null, "On record"),
      h("p", null, `${roadWords(support)}: ${pointWords(support)}, ${goodTo(support.accuracy_m)}`),
      h(
        "p",
        { class: "soft" },
        "The point on record is better than most phones’ positions. Move it only when the support stands elsewhere now, or the record is plainly wrong.",
      ),
    ),
    h("section", null, h("h2", null, "Where you stand"), meter.element, outcome),
    reason.element,
    saveBar(app, {
      words: "Move it here",
      check: () => {
        if (!meter.fix) {
          return [{ sentence: "The phone has not found where it is yet." }];
        }
        return doubt() && !sure.input.checked
          ? [{ sentence: `${doubt()} Tick that it is moved all the same.`, input: sure.input }]
          : [];
      },
      record: () => {
        const fix = /** @type {NonNullable<typeof meter.fix>} */ (meter.fix);
        meter.stop();
        return recordAction(app, {
          kind: "move_support",
          payload: {
            support: ref,
            latitude_deg: Number(fix.latitude_deg.toFixed(7)),
            longitude_deg: Number(fix.longitude_deg.toFixed(7)),
            accuracy_m: fix.accuracy_m,
            reason: reason.input.value.trim(),
          },
          sign: key,
          needs,
          replaces: earlier.replaces,
        });
      },
      after: () => app.back(),
      said: "Moved: saved on this phone",
    }),
  );
  keepDraft(place, window.location.hash, app.now().getTime());
  meter.start();
  return { placeName: support.road || undefined };
}

/**
 * Return a support by the server's id, or by the operation that puts it on record.
 *
 * @param {import("../page.js").App} app
 * @param {string} key
 * @returns {Promise<{ support: import("../types.js").CarriedSupport | null, ref: import("../types.js").Ref, key: string, needs: string[] }>}
 */
async function supportOf(app, key) {
  if (/^\d+$/.test(key)) {
    return {
      support: /** @type {any} */ (await supportNow(app, Number(key))),
      ref: { id: Number(key) },
      key: `support:${key}`,
      needs: [],
    };
  }
  const made = await loadSubject(app, key);
  return {
    support: /** @type {any} */ (made?.support ?? null),
    ref: { operation: key },
    key: `operation:${key}`,
    needs: made?.needs ?? [],
  };
}

/**
 * @param {number} distance_m
 * @param {number} bearing_deg
 * @returns {string}
 */
function wayWords(distance_m, bearing_deg) {
  const words = wayTo(distance_m, bearing_deg);
  return words === "right here"
    ? "You stand at the point on record."
    : `You stand ${words} of the point on record.`;
}

/**
 * @param {number | null} accuracy_m
 * @returns {string}
 */
function goodTo(accuracy_m) {
  return accuracy_m === null || accuracy_m === undefined
    ? "how good is not known"
    : `good to ${way(accuracy_m)}`;
}
