/**
 * What something recorded is about, in a few words.
 *
 * @module
 */
import { faceName } from "./sign_lines.js";
import { loadPlace, loadSubject } from "./subject.js";

/** @typedef {import("./page.js").App} App */
/** @typedef {import("./types.js").StoredOperation} StoredOperation */

/**
 * Return the sign, place or instrument an operation is about; "" where it is none of them.
 *
 * @param {App} app
 * @param {StoredOperation} operation
 * @returns {Promise<string>}
 */
export async function aboutWords(app, operation) {
  const [kind, key = ""] = operation.sign_key.split(":");
  if (kind === "sign" || kind === "operation") {
    const subject = await loadSubject(app, key);
    return faceWords(subject?.sign, subject?.support);
  }
  if (kind === "position") {
    const place = await loadPlace(app, key);
    return faceWords(place?.position, place?.support);
  }
  if (kind === "support") {
    return (await app.store.support(Number(key)))?.road ?? "";
  }
  if (kind === "stop") {
    const stop = await app.store.stop(Number(key));
    return stop ? `stop ${stop.number}` : "";
  }
  return "";
}

/**
 * Return the address of what an operation is about; "" where there is no screen of it.
 *
 * @param {StoredOperation} operation
 * @returns {string}
 */
export function aboutHash({ kind, sign_key, client_uuid }) {
  if (kind === "install" || kind === "add_sign") {
    return `#/sign/${client_uuid}`;
  }
  const [of, key] = sign_key.split(":");
  return of === "sign" || of === "operation" ? `#/sign/${key}` : "";
}

/**
 * @param {Record<string, any> | null | undefined} face
 * @param {Record<string, any> | null | undefined} support
 * @returns {string}
 */
function faceWords(face, support) {
  return face ? [faceName(face), support?.road].filter(Boolean).join(", ") : "";
}
