/**
 * The camera that looks for a QR code, until the screen is left.
 *
 * @module
 */
import { makeDetector } from "./barcodes.js";
import { clear, h } from "./dom.js";
import { labelInCode } from "./label_codes.js";
import { notice } from "./pieces.js";

const LOOK_EVERY_MS = 150;

/** @type {Record<string, string>} */
const TROUBLE = {
  NotAllowedError:
    "The phone did not let this app use its camera. Allow it in the phone’s settings, or type the id printed on the label.",
  NotFoundError: "This phone has no camera that the app can use. Type the id printed on the label.",
  NotReadableError:
    "Another app is using the camera. Close it and scan again, or type the id printed on the label.",
};
const OTHER_TROUBLE = "The camera did not start. Type the id printed on the label.";

/**
 * @typedef {object} Scanner
 * @property {HTMLVideoElement} video what the camera sees
 * @property {boolean} hasTorch
 * @property {(isOn: boolean) => Promise<void>} setTorch
 */

/**
 * Start the camera on the back of the phone and tell every code it sees.
 *
 * @param {AbortSignal} leaving
 * @param {(text: string) => unknown} onText
 * @returns {Promise<Scanner>}
 * @throws {Error} with a sentence for the person
 */
export async function startScanner(leaving, onText) {
  const stream = await openCamera();
  const [track] = stream.getVideoTracks();
  const stop = () => stream.getTracks().forEach((each) => each.stop());
  if (leaving.aborted) {
    stop();
  }
  leaving.addEventListener("abort", stop);
  const video = h("video", {
    class: "camera",
    playsinline: true,
    muted: true,
    "aria-label": "What the camera sees",
  });
  video.muted = true;
  video.srcObject = stream;
  await video.play().catch(() => undefined);
  void look(video, leaving, onText);
  return {
    video,
    hasTorch: "torch" in (track?.getCapabilities?.() ?? {}),
    setTorch: (isOn) =>
      track.applyConstraints({ advanced: [/** @type {any} */ ({ torch: isOn })] }),
  };
}

/**
 * Show the camera in a place until it has seen a label, or something else is wanted of it.
 *
 * @param {import("./page.js").App} app
 * @param {HTMLElement} place
 * @param {(label: string) => unknown} onLabel
 * @returns {Promise<void>}
 */
export async function openScanner(app, place, onLabel) {
  const done = new AbortController();
  app.leaving().addEventListener("abort", () => done.abort());
  const close = () => {
    done.abort();
    clear(place);
  };
  const said = h("p", { role: "status" }, "Hold the camera over the square code on the label.");
  const stop = h("button", { type: "button", class: "button", onclick: close }, "Stop the camera");
  try {
    const { video } = await startScanner(done.signal, (text) => {
      const { label, sentence } = labelInCode(text);
      if (label) {
        close();
        onLabel(label);
      } else {
        said.textContent = sentence;
      }
    });
    if (!done.signal.aborted) {
      clear(place, video, said, stop);
    }
  } catch (error) {
    clear(
      place,
      notice("warn", h("p", null, error instanceof Error ? error.message : String(error))),
    );
  }
}

/**
 * @returns {Promise<MediaStream>}
 */
async function openCamera() {
  if (!navigator.mediaDevices?.getUserMedia) {
    throw new Error(TROUBLE.NotFoundError);
  }
  try {
    return await navigator.mediaDevices.getUserMedia({
      audio: false,
      video: {
        facingMode: { ideal: "environment" },
        width: { ideal: 1280 },
        height: { ideal: 720 },
      },
    });
  } catch (error) {
    const name = error instanceof DOMException ? error.name : "";
    throw new Error(TROUBLE[name] ?? OTHER_TROUBLE);
  }
}

/**
 * @param {HTMLVideoElement} video
 * @param {AbortSignal} leaving
 * @param {(text: string) => unknown} onText
 */
async function look(video, leaving, onText) {
  const detector = makeDetector();
  while (!leaving.aborted) {
    if (video.readyState >= HTMLMediaElement.HAVE_CURRENT_DATA) {
      const codes = await detector.detect(video);
      if (codes.length > 0 && !leaving.aborted) {
        await onText(codes[0].rawValue);
      }
    }
    await new Promise((resolve) => setTimeout(resolve, LOOK_EVERY_MS));
  }
}
