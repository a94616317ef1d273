/**
 * How a sign was identified, carried in the address from the finding to what is recorded.
 *
 * @module
 */

/** @typedef {import("./types.js").Identified} Identified */

const WAYS = new Set(["nearest", "map", "label", "typed", "package"]);

/**
 * Return what an address says of how its sign was identified; null where it says nothing.
 *
 * @param {Record<string, string>} params
 * @returns {Identified | null}
 */
export function identifiedOf(params) {
  if (!WAYS.has(params.by ?? "")) {
    return null;
  }
  return {
    by: params.by,
    latitude_deg: numberOf(params.lat),
    longitude_deg: numberOf(params.lon),
    accuracy_m: numberOf(params.acc),
    candidate_count: numberOf(params.of),
  };
}

/**
 * Return the same as the parameters of an address.
 *
 * @param {Identified | null} identified
 * @returns {Record<string, string | number | null | undefined>}
 */
export function identifiedQuery(identified) {
  return identified === null
    ? {}
    : {
        by: identified.by,
        lat: identified.latitude_deg,
        lon: identified.longitude_deg,
        acc: identified.accuracy_m,
        of: identified.candidate_count,
      };
}

/**
 * Return how a sign was identified, in words for the person who did it.
 *
 * @param {Identified | null} identified
 * @returns {string}
 */
export function identifiedWords(identified) {
  if (identified === null) {
    return "";
  }
  const others = (identified.candidate_count ?? 0) - 1;
  switch (identified.by) {
    case "nearest":
      return others > 0
        ? `Picked by you from ${others + 1} that the phone’s position could mean`
        : "Found by the phone’s position";
    case "map":
      return "Picked on the map";
    case "label":
      return "By the label on its back";
    case "package":
      return "From today’s stops";
    default:
      return "Typed";
  }
}

/**
 * @param {string | undefined} text
 * @returns {number | null}
 */
function numberOf(text) {
  const number = Number(text);
  return text === undefined || text === "" || !Number.isFinite(number) ? null : number;
}
