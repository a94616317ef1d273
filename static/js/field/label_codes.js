/**
 * The id in a label's QR code: the code holds this site's address with the id at its end, or the
 * bare id.
 *
 * @module
 */
import { readLabel } from "./labels.js";

/**
 * Return the id that a scanned text holds, or what is wrong with it.
 *
 * @param {string} text
 * @returns {{ label: string, sentence: string }} sentence "" where there is a label
 */
export function labelInCode(text) {
  const bare = text.trim();
  const address = /^https?:\/\//i.test(bare) ? parseAddress(bare) : null;
  if (address === null) {
    return readLabel(bare);
  }
  const last = lastPart(address);
  const found = last ? readLabel(last) : null;
  if (found?.label) {
    return found;
  }
  return {
    label: "",
    sentence: `This code leads to ${address.host || bare} and holds no label id. Scan the code on the label on the sign’s back, or type the id printed under it.`,
  };
}

/**
 * @param {string} text
 * @returns {URL | null}
 */
function parseAddress(text) {
  try {
    return new URL(text);
  } catch {
    return null;
  }
}

/**
 * Return the last part of an address's path.
 *
 * @param {URL} address
 * @returns {string}
 */
function lastPart(address) {
  const part = address.pathname.split("/").filter(Boolean).pop() ?? "";
  try {
    return decodeURIComponent(part);
  } catch {
    return "";
  }
}
