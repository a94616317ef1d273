/**
 * Addresses within the field page: `#/sign/12/read?by=label` and the pattern it follows.
 *
 * @module
 */

/**
 * Return what a pattern finds in an address: its `:names` and the query's; null for another.
 *
 * @param {string} pattern such as `#/sign/:id/read`
 * @param {string} hash
 * @returns {Record<string, string> | null}
 */
export function matchHash(pattern, hash) {
  const [path, query = ""] = hash.split("?", 2);
  const wanted = pattern.split("/");
  const given = path.split("/");
  if (wanted.length !== given.length) {
    return null;
  }
  /** @type {Record<string, string>} */
  const params = Object.fromEntries(new URLSearchParams(query));
  for (const [at, part] of wanted.entries()) {
    if (part.startsWith(":")) {
      const value = decodePart(given[at]);
      if (!value) {
        return null;
      }
      params[part.slice(1)] = value;
    } else if (part !== given[at]) {
      return null;
    }
  }
  return params;
}

/**
 * Return the address a pattern makes of parameters; those it does not name become the query.
 *
 * @param {string} pattern
 * @param {Record<string, string | number | null | undefined>} [params]
 * @returns {string}
 */
export function makeHash(pattern, params = {}) {
  const rest = new URLSearchParams();
  let path = pattern;
  for (const [name, value] of Object.entries(params)) {
    if (value === null || value === undefined || value === "") {
      continue;
    }
    const part = new RegExp(`:${name}(?=/|$)`);
    if (part.test(path)) {
      path = path.replace(part, () => encodeURIComponent(String(value)));
    } else {
      rest.set(name, String(value));
    }
  }
  const query = rest.toString();
  return query ? `${path}?${query}` : path;
}

/**
 * @param {string} text
 * @returns {string}
 */
function decodePart(text) {
  try {
    return decodeURIComponent(text);
  } catch {
    return "";
  }
}
