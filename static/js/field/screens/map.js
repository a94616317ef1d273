/**
 * The map of what this phone carries: roads and supports from its own store, no tiles.
 *
 * @module
 */
import * as L from "leaflet";

import { clear, h, put, sprite } from "../dom.js";
import { identifiedQuery } from "../identified.js";
import { watchPosition } from "../phone_position.js";
import { actBar, primaryButton, primaryLink } from "../pieces.js";
import { makeHash } from "../router.js";
import { faceName, foundHash, foundLine, nothingCarried, waysToFind } from "../sign_lines.js";
import { groupDiameterPx } from "../../shared/map_query.js";
import { roadLayer } from "../../shared/map_roads.js";

/** @typedef {import("../page.js").App} App */
/** @typedef {import("../types.js").Found} Found */
/** @typedef {import("../types.js").CarriedSupport} CarriedSupport */
/** @typedef {import("../types.js").Box} Box */

const CLOSEST_ZOOM = 20;
const FIRST_ZOOM = 17;
const ZOOM_STEP = 0.5;
const WAIT_AFTER_MOVE_MS = 120;
/** More supports than this are shown as groups. */
const MOST_MARKERS = 200;
const GROUP_CELL_PX = 72;
const MARKER_PX = 48;
const VIEW = "map_view";
const WORLD = /** @type {Box} */ ({ south_deg: -90, west_deg: -180, north_deg: 90, east_deg: 180 });

/** @type {import("../routes.js").Screen["show"]} */
export async function show(place, params, app) {
  const element = h("div", {
    class: "map",
    role: "region",
    "aria-label": "Map of the signs on this phone",
  });
  const picked = h("ol", { class: "lines", "data-picked": "" });
  const act = actBar();
  const isTaking = params.take === "1";
  put(
    place,
    h("h1", null, isTaking ? "Choose a part of the map" : "Map"),
    isTaking ? null : waysToFind("map"),
  );
  put(place, await nothingCarried(app), element, picked, act);
  const start = await firstView(app);
  // The map measures its element, which has a size once the screen is shown.
  const leaving = app.leaving();
  requestAnimationFrame(() => {
    if (leaving.aborted) {
      return;
    }
    const map = new SignMap(app, element, picked, start);
    clear(
      act,
      isTaking
        ? primaryButton("Take this part along", () => app.go(makeHash("#/take-along", map.edges())))
        : primaryLink("See the nearest signs", "#/near"),
    );
  });
}

/**
 * @param {App} app
 * @returns {Promise<{ at: [number, number], zoom: number } | Box | null>}
 */
async function firstView(app) {
  const kept = app.memory.get(VIEW);
  if (kept) {
    return kept;
  }
  const supports = await app.store.supportsInBox(WORLD);
  if (supports.length === 0) {
    return null;
  }
  const lats = supports.map((each) => each.latitude_deg);
  const lons = supports.map((each) => each.longitude_deg);
  const edge = (
    /** @type {number[]} */ values,
    /** @type {(one: number, other: number) => number} */ choose,
  ) => values.reduce((one, other) => choose(one, other));
  return {
    south_deg: edge(lats, Math.min),
    west_deg: edge(lons, Math.min),
    north_deg: edge(lats, Math.max),
    east_deg: edge(lons, Math.max),
  };
}

class SignMap {
  /**
   * @param {App} app
   * @param {HTMLElement} element
   * @param {HTMLElement} picked
   * @param {Awaited<ReturnType<typeof firstView>>} start
   */
  constructor(app, element, picked, start) {
    this.app = app;
    this.element = element;
    this.picked = picked;
    this.leaving = app.leaving();
    this.timer = 0;
    this.turn = 0;
    this.map = L.map(element, {
      maxZoom: CLOSEST_ZOOM,
      zoomSnap: ZOOM_STEP,
      attributionControl: false,
      // A screen may be left in the middle of a movement, which would go on without its map.
      fadeAnimation: false,
      zoomAnimation: false,
    });
    L.control.scale().addTo(this.map);
    this.marks = L.layerGroup().addTo(this.map);
    this.here = L.layerGroup().addTo(this.map);
    this.goTo(start);
    this.map.on("moveend", () => {
      window.clearTimeout(this.timer);
      this.timer = window.setTimeout(() => this.fill(), WAIT_AFTER_MOVE_MS);
    });
    this.leaving.addEventListener("abort", () => {
      window.clearTimeout(this.timer);
      this.map.remove();
    });
    void this.drawRoads();
    void this.fill();
    let isFirst = start === null || "south_deg" in start;
    watchPosition(
      this.leaving,
      (fix) => {
        this.showHere(fix);
        if (isFirst) {
          isFirst = false;
          this.map.setView([fix.latitude_deg, fix.longitude_deg], FIRST_ZOOM);
        }
      },
      () => undefined,
    );
  }

  /** @param {Awaited<ReturnType<typeof firstView>>} start */
  goTo(start) {
    if (start === null) {
      this.map.setView([0, 0], 2);
    } else if ("zoom" in start) {
      this.map.setView(start.at, start.zoom);
    } else {
      const corners = /** @type {[[number, number], [number, number]]} */ ([
        [start.south_deg, start.west_deg],
        [start.north_deg, start.east_deg],
      ]);
      this.map.fitBounds(corners, { maxZoom: FIRST_ZOOM, padding: [12, 12] });
    }
  }

  async drawRoads() {
    const roads = await this.app.store.roads(WORLD);
    if (!this.leaving.aborted) {
      roadLayer(/** @type {import("../../shared/map_roads.js").Road[]} */ (roads)).addTo(this.map);
    }
  }

  /** @returns {Record<string, string>} the edges of what is shown */
  edges() {
    const bounds = this.map.getBounds();
    return {
      south: bounds.getSouth().toFixed(5),
      west: bounds.getWest().toFixed(5),
      north: bounds.getNorth().toFixed(5),
      east: bounds.getEast().toFixed(5),
    };
  }

  /** Show what stands in the part of the map that is seen. */
  async fill() {
    this.turn += 1;
    const { turn } = this;
    const centre = this.map.getCenter();
    this.app.memory.set(VIEW, { at: [centre.lat, centre.lng], zoom: this.map.getZoom() });
    const bounds = this.map.getBounds().pad(0.1);
    const supports = await this.app.store.supportsInBox({
      south_deg: bounds.getSouth(),
      west_deg: bounds.getWest(),
      north_deg: bounds.getNorth(),
      east_deg: bounds.getEast(),
    });
    const markers =
      supports.length > MOST_MARKERS
        ? this.groups(supports)
        : await Promise.all(supports.map((support) => this.supportMarker(support)));
    if (turn !== this.turn || this.leaving.aborted) {
      return;
    }
    this.marks.clearLayers();
    for (const marker of markers) {
      marker.addTo(this.marks);
    }
    this.element.dataset.filled = String(supports.length);
  }

  /**
   * @param {CarriedSupport[]} supports
   * @returns {L.Marker[]}
   */
  groups(supports) {
    /** @type {Map<string, CarriedSupport[]>} */
    const cells = new Map();
    for (const support of supports) {
      const at = this.map.project([support.latitude_deg, support.longitude_deg]);
      const key = `${Math.floor(at.x / GROUP_CELL_PX)},${Math.floor(at.y / GROUP_CELL_PX)}`;
      cells.set(key, [...(cells.get(key) ?? []), support]);
    }
    return [...cells.values()].map((members) => {
      const mean = (/** @type {"latitude_deg" | "longitude_deg"} */ name) =>
        members.reduce((sum, each) => sum + each[name], 0) / members.length;
      const at = /** @type {[number, number]} */ ([mean("latitude_deg"), mean("longitude_deg")]);
      const size = Math.max(MARKER_PX, groupDiameterPx(members.length));
      const title = `${members.length} supports; look closer`;
      const icon = L.divIcon({
        className: "map-group",
        html: String(members.length),
        iconSize: [size, size],
      });
      return L.marker(at, { icon, title, alt: title }).on("click", () =>
        this.map.setView(at, this.map.getZoom() + 2),
      );
    });
  }

  /**
   * @param {CarriedSupport} support
   * @returns {Promise<L.Marker>}
   */
  async supportMarker(support) {
    const found = await this.app.store.foundOn(support);
    const signs = found.filter((each) => each.sign !== null);
    const standing = signs.length === 1 ? signs[0].sign?.standing : null;
    const title = markerTitle(signs);
    const html = standing
      ? h(
          "span",
          { class: `map-mark mark-${standing.mark}` },
          sprite(`mark-${standing.mark}`, "mark"),
        )
      : h("span", { class: "map-mark" }, signs.length === 1 ? "?" : String(signs.length));
    const icon = L.divIcon({ className: "map-marker", html, iconSize: [MARKER_PX, MARKER_PX] });
    const marker = L.marker([support.latitude_deg, support.longitude_deg], {
      icon,
      title,
      alt: title,
    });
    return marker.on("click", () => this.pick(found));
  }

  /** @param {Found[]} found what stands on the support that was tapped */
  async pick(found) {
    const count = found.filter((each) => each.sign !== null).length;
    const centre = this.map.getCenter();
    const query = identifiedQuery({
      by: "map",
      latitude_deg: Number(centre.lat.toFixed(7)),
      longitude_deg: Number(centre.lng.toFixed(7)),
      accuracy_m: null,
      candidate_count: count,
    });
    const lines = await Promise.all(
      found.map((each) => foundLine(this.app, each, { hash: foundHash(each, query) })),
    );
    clear(this.picked, lines);
    this.picked.scrollIntoView({ block: "nearest" });
  }

  /** @param {import("../fixes.js").Fix} fix */
  showHere(fix) {
    const at = /** @type {[number, number]} */ ([fix.latitude_deg, fix.longitude_deg]);
    const looks = { className: "here", interactive: false };
    this.here.clearLayers();
    L.circle(at, { ...looks, radius: fix.accuracy_m, weight: 1, fillOpacity: 0.12 }).addTo(
      this.here,
    );
    L.circleMarker(at, { ...looks, radius: 7, weight: 3, fillOpacity: 1 }).addTo(this.here);
  }
}

/**
 * @param {Found[]} signs
 * @returns {string}
 */
function markerTitle(signs) {
  if (signs.length === 0) {
    return "A place without a sign";
  }
  const [{ sign }] = signs;
  return signs.length === 1
    ? `${faceName(sign ?? {})}: ${sign?.standing?.word ?? "not judged yet"}`
    : `${signs.length} signs on one support`;
}
