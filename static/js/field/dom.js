/**
 * Elements made in one line: what a screen shows is built from these, never from HTML text.
 *
 * @module
 */

/** @typedef {Node | string | number | null | undefined | false} Piece */
/** @typedef {Piece | Piece[]} Pieces */
/**
 * Attributes by name; `on…` takes a listener, `true` an empty attribute, and `false`, `null` and
 * `undefined` leave the attribute out. `value` and `checked` set the property.
 *
 * @typedef {Record<string, string | number | boolean | null | undefined | ((event: any) => unknown)>} Props
 */

const SVG = "http://www.w3.org/2000/svg";
const PROPERTIES = new Set(["value", "checked", "indeterminate"]);

/**
 * Return an element with attributes, listeners and children.
 *
 * @template {keyof HTMLElementTagNameMap} Tag
 * @param {Tag} tag
 * @param {Props | null} [props]
 * @param {...Pieces} children
 * @returns {HTMLElementTagNameMap[Tag]}
 */
export function h(tag, props, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(props ?? {})) {
    if (typeof value === "function") {
      element.addEventListener(name.slice("on".length).toLowerCase(), value);
    } else if (PROPERTIES.has(name)) {
      /** @type {any} */ (element)[name] = value ?? "";
    } else if (value !== false && value !== null && value !== undefined) {
      element.setAttribute(name, value === true ? "" : String(value));
    }
  }
  put(element, ...children);
  return element;
}

/**
 * Add children to an element; what is nothing is left out.
 *
 * @param {Node} element
 * @param {...Pieces} children
 */
export function put(element, ...children) {
  for (const child of children.flat()) {
    if (child instanceof Node) {
      element.appendChild(child);
    } else if (child !== null && child !== undefined && child !== false) {
      element.appendChild(document.createTextNode(String(child)));
    }
  }
}

/**
 * Empty an element, and give it other children where there are any.
 *
 * @param {Element} place
 * @param {...Pieces} children
 */
export function clear(place, ...children) {
  place.replaceChildren();
  put(place, ...children);
}

/**
 * Return one drawing of the page's own sprite, such as `mark-below`.
 *
 * @param {string} id
 * @param {string} looks class names
 * @returns {SVGSVGElement}
 */
export function sprite(id, looks) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", looks);
  svg.setAttribute("viewBox", "0 0 16 16");
  svg.setAttribute("aria-hidden", "true");
  svg.setAttribute("focusable", "false");
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", `#${id}`);
  svg.append(use);
  return svg;
}

/**
 * Return a drawing kept as SVG text, such as a sign's face; null when it is none.
 *
 * Only the drawing comes along: a script or a listener in the text is dropped.
 *
 * @param {string | null | undefined} text
 * @returns {SVGElement | null}
 */
export function drawing(text) {
  if (!text) {
    return null;
  }
  const root = new DOMParser().parseFromString(text, "image/svg+xml").documentElement;
  if (root.namespaceURI !== SVG || root.localName !== "svg") {
    return null;
  }
  for (const each of [root, ...root.querySelectorAll("*")]) {
    if (["script", "foreignObject", "style"].includes(each.localName)) {
      each.remove();
    }
    for (const { name } of [...each.attributes]) {
      if (name.startsWith("on") || name === "style") {
        each.removeAttribute(name);
      }
    }
  }
  return /** @type {SVGElement} */ (/** @type {Element} */ (document.importNode(root, true)));
}
