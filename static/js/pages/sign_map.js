/**
 * The map of signs: fills itself as it is moved, from the same filters as the list.
 *
 * @module
 */
import { groupMarker, signMarker } from "../shared/map_marks.js";
import { dataAddress } from "../shared/map_query.js";
import { roadLayer } from "../shared/map_roads.js";

const WAIT_AFTER_MOVE_MS = 120;
const CLOSEST_ZOOM = 19;
const ZOOM_STEP = 0.5;
const FIRST_ZOOM_LIMIT = 17;
const NO_SIGNS_VIEW = { center: /** @type {[number, number]} */ ([40, -98]), zoom: 4 };

/**
 * @typedef {object} MapSettings
 * @property {[[number, number], [number, number]] | null} extent
 * @property {string} data_address
 * @property {string} road_address
 * @property {string} sign_address
 * @property {string} tile_address
 * @property {string} tile_credit
 */

/**
 * @template T
 * @param {string} address
 * @param {AbortSignal} [signal]
 * @returns {Promise<T>}
 */
async function fetchJson(address, signal) {
  const answer = await fetch(address, { signal, headers: { Accept: "application/json" } });
  if (!answer.ok) {
    throw new Error(`The server answered ${answer.status}.`);
  }
  return answer.json();
}

/**
 * Start the map in its element.
 *
 * @param {HTMLElement} element
 * @param {MapSettings} settings
 * @returns {void}
 */
function start(element, settings) {
  const message = /** @type {HTMLElement} */ (element.querySelector("[data-map-message]"));
  const map = L.map(element, { maxZoom: CLOSEST_ZOOM, zoomSnap: ZOOM_STEP, attributionControl: false });
  if (settings.tile_address) {
    L.tileLayer(settings.tile_address, { maxZoom: CLOSEST_ZOOM }).addTo(map);
    L.control.attribution({ prefix: false }).addAttribution(settings.tile_credit).addTo(map);
  }
  L.control.scale().addTo(map);
  const marks = L.layerGroup().addTo(map);
  const only = element.dataset.onlySign;
  // A page about some signs names them; the list's own page has its filters in its address.
  const query = element.dataset.mapQuery ?? (only === undefined ? window.location.search : "");

  /** @param {number} id */
  const addressOf = (id) => settings.sign_address.replace(/0(?=\/$)/, String(id));

  /** @param {string} sentence */
  const say = (sentence) => {
    message.textContent = sentence;
    message.hidden = sentence === "";
  };

  let running = new AbortController();
  let timer = 0;

  /** @returns {Promise<void>} */
  async function fill() {
    running.abort();
    running = new AbortController();
    const bounds = map.getBounds();
    const box = {
      south: bounds.getSouth(),
      west: bounds.getWest(),
      north: bounds.getNorth(),
      east: bounds.getEast(),
    };
    try {
      const address = dataAddress(settings.data_address, query, box, map.getZoom());
      const view =
        /** @type {{signs: import("../shared/map_marks.js").Sign[], groups: import("../shared/map_marks.js").Group[]}} */ (
          await fetchJson(address, running.signal)
        );
      marks.clearLayers();
      for (const sign of view.signs) {
        signMarker(sign, addressOf).addTo(marks);
      }
      for (const group of view.groups) {
        groupMarker(group, map).addTo(marks);
      }
      say("");
      element.dataset.filled = String(view.signs.length + view.groups.length);
    } catch (error) {
      if (!(error instanceof DOMException && error.name === "AbortError")) {
        say("The signs of this part could not be fetched. Move the map to try again; the list still holds them.");
      }
    }
  }

  map.on("moveend", () => {
    window.clearTimeout(timer);
    timer = window.setTimeout(fill, WAIT_AFTER_MOVE_MS);
  });
  if (settings.extent) {
    map.fitBounds(settings.extent, { maxZoom: FIRST_ZOOM_LIMIT, padding: [12, 12] });
    if (only !== undefined) {
      const ring = { radius: 17, color: "#15202b", weight: 2, fill: false, interactive: false };
      L.circleMarker(L.latLngBounds(settings.extent).getCenter(), ring).addTo(map);
    }
  } else {
    map.setView(NO_SIGNS_VIEW.center, NO_SIGNS_VIEW.zoom);
  }
  fetchJson(settings.road_address)
    .then((content) => {
      const { roads } = /** @type {{roads: import("../shared/map_roads.js").Road[]}} */ (content);
      roadLayer(roads).addTo(map);
    })
    .catch(() => say("The roads could not be fetched; the signs are in their right places."));
}

const element = document.querySelector("[data-map]");
const settings = document.getElementById("map-settings");
if (element instanceof HTMLElement && settings) {
  start(element, JSON.parse(settings.textContent ?? "{}"));
}
