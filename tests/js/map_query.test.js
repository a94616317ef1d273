import assert from "node:assert/strict";
import { test } from "node:test";

import { clampBox, dataAddress, groupDiameterPx } from "../../static/js/shared/map_query.js";

const BOX = { south: 42.5, west: -90.25, north: 43.5, east: -89.75 };

test("the map asks with the list's filters and not with its page number", () => {
  const address = new URL(
    dataAddress("/signs/map/data/", "?verdict=below&verdict=undecided&page=3", BOX, 11.5),
    "http://here",
  );
  assert.deepEqual(address.searchParams.getAll("verdict"), ["below", "undecided"]);
  assert.equal(address.searchParams.get("page"), null);
  assert.equal(address.searchParams.get("zoom"), "12");
  assert.equal(address.searchParams.get("south_deg"), "42.500000");
  assert.equal(address.searchParams.get("east_deg"), "-89.750000");
});

test("a view wider than the globe asks for the globe", () => {
  const box = clampBox({ south: -95, west: -400, north: 95, east: 400 });
  assert.deepEqual(box, { south: -90, west: -180, north: 90, east: 180 });
});

test("a larger group has a larger circle, up to a bound", () => {
  assert.ok(groupDiameterPx(10) < groupDiameterPx(1000));
  assert.equal(groupDiameterPx(10 ** 9), 52);
});
