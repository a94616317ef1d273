/**
 * The roads the agency has on record, drawn under the marks: the map asks nobody for tiles.
 *
 * @module
 */

/**
 * @typedef {object} Road
 * @property {string} name
 * @property {string} road_class
 * @property {[number, number][]} line longitude and latitude in degrees
 */

const BROAD_CLASSES = new Set(["expressway", "freeway", "conventional_multi_lane"]);

/**
 * Return a layer of the roads, broad ones broader.
 *
 * @param {Road[]} roads
 * @returns {L.LayerGroup}
 */
export function roadLayer(roads) {
  const renderer = L.canvas({ padding: 0.3 });
  const group = L.layerGroup();
  for (const road of roads) {
    const weight = BROAD_CLASSES.has(road.road_class) ? 5 : 3;
    const at = road.line.map(([east, north]) => /** @type {[number, number]} */ ([north, east]));
    L.polyline(at, { renderer, color: "#c9c1af", weight })
      .bindTooltip(road.name, { sticky: true, className: "road-name" })
      .addTo(group);
  }
  return group;
}
