/**
 * A photo made smaller on the phone before it is kept: a JPEG of at most 2,560 pixels a side.
 *
 * @module
 */

import { LONGEST_PHOTO_SIDE_PX, PHOTO_QUALITY } from "./constants.js";

/**
 * Return the size a picture is kept at; never larger than it is.
 *
 * @param {number} width_px
 * @param {number} height_px
 * @param {number} longest_px
 * @returns {{ width_px: number, height_px: number }}
 */
export function keptSize(width_px, height_px, longest_px = LONGEST_PHOTO_SIDE_PX) {
  const scale = Math.min(1, longest_px / Math.max(width_px, height_px));
  return {
    width_px: Math.max(1, Math.round(width_px * scale)),
    height_px: Math.max(1, Math.round(height_px * scale)),
  };
}

/**
 * Return a photo as it is kept: upright, without what the camera wrote about itself.
 *
 * @param {Blob} taken
 * @returns {Promise<Blob>}
 */
export async function shrinkPhoto(taken) {
  const picture = await createImageBitmap(taken, { imageOrientation: "from-image" });
  try {
    const { width_px, height_px } = keptSize(picture.width, picture.height);
    const canvas = document.createElement("canvas");
    canvas.width = width_px;
    canvas.height = height_px;
    const context = canvas.getContext("2d");
    if (!context) {
      throw new Error("This phone gave no surface to draw the photo on.");
    }
    // A picture with clear parts is put on white: a JPEG has none.
    context.fillStyle = "white";
    context.fillRect(0, 0, width_px, height_px);
    context.drawImage(picture, 0, 0, width_px, height_px);
    return await jpegOf(canvas);
  } finally {
    picture.close();
  }
}

/**
 * @param {HTMLCanvasElement} canvas
 * @returns {Promise<Blob>}
 */
function jpegOf(canvas) {
  return new Promise((resolve, reject) => {
    canvas.toBlob(
      (blob) => (blob ? resolve(blob) : reject(new Error("The photo could not be made smaller."))),
      "image/jpeg",
      PHOTO_QUALITY,
    );
  });
}
