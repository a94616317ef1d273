/**
 * Marks on the map: the same drawings as in the lists, taken from the page's own sprite.
 *
 * @module
 */
import { groupDiameterPx } from "./map_query.js";

/**
 * @typedef {object} Sign
 * @property {number} id
 * @property {[number, number]} at latitude and longitude in degrees
 * @property {string} mark key of the standing mark
 * @property {string} word
 * @property {string} code
 * @property {string} name
 * @property {number} condition
 * @property {boolean} is_due
 */

/**
 * @typedef {object} Group
 * @property {number} sign_count
 * @property {number} due_count
 * @property {number} latitude_deg
 * @property {number} longitude_deg
 */

const MARKER_SIZE_PX = 28;
const SEVERE = 4;
const SVG = "http://www.w3.org/2000/svg";

/**
 * Return the drawing of a standing mark.
 *
 * @param {string} key
 * @returns {SVGSVGElement}
 */
function drawMark(key) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", `mark mark-${key}`);
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", `#mark-${key}`);
  svg.append(use);
  return svg;
}

/**
 * Return a sign's name as a screen reader says it.
 *
 * @param {Sign} sign
 * @returns {string}
 */
export function signTitle(sign) {
  const severe = sign.condition === SEVERE ? ", severely damaged" : "";
  return `${sign.code || "code not known"} ${sign.name}: ${sign.word}${severe}`;
}

/**
 * Return the marker of one sign, with its card.
 *
 * @param {Sign} sign
 * @param {(id: number) => string} addressOf
 * @returns {L.Marker}
 */
export function signMarker(sign, addressOf) {
  const icon = L.divIcon({
    className: sign.condition === SEVERE ? "map-marker severe" : "map-marker",
    html: /** @type {any} */ (drawMark(sign.mark)),
    iconSize: [MARKER_SIZE_PX, MARKER_SIZE_PX],
  });
  const title = signTitle(sign);
  return L.marker(sign.at, { icon, title, alt: title }).bindPopup(() => signCard(sign, addressOf));
}

/**
 * Return the short card of a sign, with the way to its page.
 *
 * @param {Sign} sign
 * @param {(id: number) => string} addressOf
 * @returns {HTMLElement}
 */
function signCard(sign, addressOf) {
  const card = document.createElement("div");
  card.className = "map-card";
  const name = document.createElement("strong");
  name.textContent = `${sign.code || "code not known"} ${sign.name}`;
  const standing = document.createElement("span");
  standing.className = `standing mark-${sign.mark}`;
  const word = document.createElement("span");
  word.className = "word";
  word.textContent = sign.condition === SEVERE ? `${sign.word}, severely damaged` : sign.word;
  standing.append(drawMark(sign.mark), word);
  const link = document.createElement("a");
  link.href = addressOf(sign.id);
  link.textContent = "Open this sign";
  card.append(name, standing, link);
  return card;
}

/**
 * Return the circle of a group; a press on it looks closer.
 *
 * @param {Group} group
 * @param {L.Map} map
 * @returns {L.Marker}
 */
export function groupMarker(group, map) {
  const size = groupDiameterPx(group.sign_count);
  const title =
    group.due_count > 0
      ? `${group.sign_count} signs, ${group.due_count} due; look closer`
      : `${group.sign_count} signs, none due; look closer`;
  const icon = L.divIcon({
    className: group.due_count > 0 ? "map-group has-due" : "map-group",
    html: String(group.sign_count),
    iconSize: [size, size],
  });
  /** @type {[number, number]} */
  const at = [group.latitude_deg, group.longitude_deg];
  const marker = L.marker(at, { icon, title, alt: title });
  return marker.on("click", () => map.setView(at, map.getZoom() + 2));
}
