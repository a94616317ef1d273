/**
 * The work the phone carries: signs, positions, supports, stops, roads, shop stock, and the
 * level tables and drawings they name. Part of store.js.
 *
 * @module
 */
import { SEARCH_MOST } from "./constants.js";
import { bearingDeg, distanceM, eastward, METRES_PER_DEGREE } from "./distances.js";
import { readLabel } from "./labels.js";
import { OutboxStore } from "./store_outbox.js";

/** @typedef {import("./types.js").Found} Found */
/** @typedef {import("./types.js").Area} Area */
/** @typedef {import("./types.js").Box} Box */
/** @typedef {import("./types.js").CarriedSupport} CarriedSupport */
/** @typedef {import("./types.js").CarriedPosition} CarriedPosition */
/** @typedef {import("./types.js").CarriedSign} CarriedSign */
/** @typedef {import("./distances.js").Point} Point */
/** @typedef {import("./store_base.js").Writing} Writing */
/** @typedef {Iterable<Record<string, any>> | AsyncIterable<Record<string, any>>} Pages */

/** What belongs to an area, and goes with the last area that holds it. */
const TAGGED = ["supports", "positions", "signs", "stops", "roads"];
const SHARED = ["plans", "drawings"];
const BASICS = "basics";

export class CarriedStore extends OutboxStore {
  /** @returns {Promise<Record<string, any> | null>} the answer of field/basics, as it was taken */
  async basics() {
    return this.setting(BASICS);
  }

  /** @param {Record<string, any>} basics */
  async putBasics(basics) {
    await this.setSetting(BASICS, basics);
  }

  /**
   * Store an area page by page as its pages arrive. What it held before stays until the last
   * page is stored; cut off in between, it has the old and the new and is not whole.
   *
   * @param {Pick<Area, "id" | "title" | "kind" | "package_id" | "box" | "taken_at_ms">} area
   * @param {Pages} pages answers of field/signs
   * @param {(page: number, pages: number) => void} [onPage]
   * @returns {Promise<Area>}
   */
  async putArea(area, pages, onPage = () => undefined) {
    /** @type {Map<string, Set<number>>} */
    const seen = new Map(TAGGED.map((name) => [name, new Set()]));
    /** @returns {Area} */
    const now = (/** @type {boolean} */ is_whole) => ({
      ...area,
      is_whole,
      support_count: seen.get("supports")?.size ?? 0,
      sign_count: seen.get("signs")?.size ?? 0,
    });
    await this.write(["areas"], (writing) => writing.objectStore("areas").put(now(false)));
    for await (const page of pages) {
      await this.write([...TAGGED, ...SHARED], (writing) =>
        putPage(writing, area.id, page, seen),
      );
      onPage(page.page, page.pages);
    }
    await this.write([...TAGGED, "areas"], async (writing) => {
      for (const name of TAGGED) {
        await untag(writing, name, area.id, seen.get(name) ?? new Set());
      }
      await writing.objectStore("areas").put(now(true));
    });
    await this.dropUnused();
    this.changed();
    return now(true);
  }

  /** @returns {Promise<Area[]>} */
  async areas() {
    return this.database.getAll("areas");
  }

  /** @param {string} id */
  async dropArea(id) {
    await this.write([...TAGGED, "areas"], async (writing) => {
      for (const name of TAGGED) {
        await untag(writing, name, id, new Set());
      }
      await writing.objectStore("areas").delete(id);
    });
    await this.dropUnused();
    this.changed();
  }

  /**
   * Store what the shop has ready, in place of what was stored before.
   *
   * @param {Pages} pages answers of field/stock
   */
  async putStock(pages) {
    /** @type {Record<string, any>[]} */
    const whole = [];
    for await (const page of pages) {
      whole.push(page);
    }
    await this.write(["faces", ...SHARED], async (writing) => {
      await writing.objectStore("faces").clear();
      for (const page of whole) {
        await putShared(writing, page);
        await Promise.all(
          page.faces.map((/** @type {Record<string, any>} */ face) =>
            writing
              .objectStore("faces")
              .put({ ...face, label_key: labelKey(face.label_id) }),
          ),
        );
      }
    });
    this.changed();
  }

  /** @returns {Promise<Record<string, any>[]>} the faces the shop has ready */
  async stock() {
    return this.database.getAll("faces");
  }

  /**
   * @param {number} id
   * @returns {Promise<CarriedSign | null>}
   */
  async sign(id) {
    return (await this.database.get("signs", id)) ?? null;
  }

  /**
   * @param {number} id
   * @returns {Promise<CarriedPosition | null>}
   */
  async position(id) {
    return (await this.database.get("positions", id)) ?? null;
  }

  /**
   * @param {number} id
   * @returns {Promise<CarriedSupport | null>}
   */
  async support(id) {
    return (await this.database.get("supports", id)) ?? null;
  }

  /**
   * Return the positions on a support, in their order on it.
   *
   * @param {number} supportId
   * @returns {Promise<CarriedPosition[]>}
   */
  async positionsOfSupport(supportId) {
    const found = await this.database.getAllFromIndex("positions", "by_support", supportId);
    return found.sort((a, b) => a.order_on_support - b.order_on_support || a.id - b.id);
  }

  /**
   * Return every position within a radius of a point, with its sign or none: the nearest
   * support first, and on it in the order on the support.
   *
   * @param {Point} point
   * @param {number} radius_m
   * @returns {Promise<Found[]>}
   */
  async signsNear(point, radius_m) {
    const north = radius_m / METRES_PER_DEGREE;
    const east = north / Math.max(0.01, Math.cos((point.latitude_deg * Math.PI) / 180));
    const supports = await this.supportsInBox({
      south_deg: point.latitude_deg - north,
      north_deg: point.latitude_deg + north,
      west_deg: point.longitude_deg - east,
      east_deg: point.longitude_deg + east,
    });
    const near = supports
      .map((support) => ({ support, distance_m: distanceM(point, support) }))
      .filter(({ distance_m }) => distance_m <= radius_m)
      .sort((a, b) => a.distance_m - b.distance_m || a.support.id - b.support.id);
    const found = await Promise.all(
      near.map(({ support, distance_m }) =>
        this.foundOn(support, { distance_m, bearing_deg: bearingDeg(point, support) }),
      ),
    );
    return found.flat();
  }

  /**
   * Return every position in a box, with its sign or none.
   *
   * @param {Box} box
   * @returns {Promise<Found[]>}
   */
  async inBox(box) {
    const supports = await this.supportsInBox(box);
    return (await Promise.all(supports.map((support) => this.foundOn(support)))).flat();
  }

  /**
   * @param {Box} box west may be greater than east: across the date line
   * @returns {Promise<CarriedSupport[]>}
   */
  async supportsInBox({ south_deg, west_deg, north_deg, east_deg }) {
    const range = IDBKeyRange.bound(south_deg, north_deg);
    /** @type {CarriedSupport[]} */
    const band = await this.database.getAllFromIndex("supports", "by_latitude", range);
    const width = (((east_deg - west_deg) % 360) + 360) % 360 || (east_deg > west_deg ? 360 : 0);
    return band.filter((support) => {
      const beyond = (eastward(west_deg, support.longitude_deg) + 360) % 360;
      return beyond <= width;
    });
  }

  /**
   * @param {CarriedSupport} support
   * @param {{ distance_m: number | null, bearing_deg: number | null }} way
   * @returns {Promise<Found[]>}
   */
  async foundOn(support, way = { distance_m: null, bearing_deg: null }) {
    const positions = await this.positionsOfSupport(support.id);
    return Promise.all(
      positions.map(async (position) => ({
        support,
        position,
        sign: position.sign_id === null ? null : await this.sign(position.sign_id),
        ...way,
      })),
    );
  }

  /**
   * Return what a label is on: a sign that stands somewhere, a face the shop has ready, or null.
   *
   * @param {string} label as scanned or typed
   * @returns {Promise<{ kind: "sign", found: Found } | { kind: "face", face: Record<string, any> } | null>}
   */
  async byLabel(label) {
    const key = labelKey(label);
    if (!key) {
      return null;
    }
    const sign = await this.database.getFromIndex("signs", "by_label", key);
    const found = sign && (await this.foundOfSign(sign));
    if (found) {
      return { kind: "sign", found };
    }
    const face = await this.database.getFromIndex("faces", "by_label", key);
    return face ? { kind: "face", face } : null;
  }

  /**
   * Return the positions whose sign's id, label, code or name, or whose support's id, key or
   * road begins with each of the words typed.
   *
   * @param {string} text
   * @returns {Promise<Found[]>} at most 50
   */
  async byText(text) {
    const [first, ...others] = wordsOf(text);
    if (first === undefined) {
      return [];
    }
    const range = IDBKeyRange.bound(first, `${first}\uffff`);
    const [signs, supports] = await Promise.all([
      this.database.getAllFromIndex("signs", "by_word", range),
      this.database.getAllFromIndex("supports", "by_word", range),
    ]);
    const ofSigns = await Promise.all(signs.map((sign) => this.foundOfSign(sign)));
    const ofSupports = await Promise.all(supports.map((support) => this.foundOn(support)));
    /** @type {Map<number, Found>} */
    const found = new Map();
    for (const each of [...ofSigns, ...ofSupports.flat()]) {
      const known = each ? [...(each.sign?.words ?? []), ...each.support.words] : [];
      const isMeant = others.every((word) => known.some((other) => other.startsWith(word)));
      if (each && isMeant && found.size < SEARCH_MOST) {
        found.set(each.position.id, each);
      }
    }
    return [...found.values()];
  }

  /**
   * @param {CarriedSign} sign
   * @returns {Promise<Found | null>}
   */
  async foundOfSign(sign) {
    const position = sign.position_id === null ? null : await this.position(sign.position_id);
    const support = position && (await this.support(position.support_id));
    return support ? { support, position, sign, distance_m: null, bearing_deg: null } : null;
  }

  /**
   * @param {string} key
   * @returns {Promise<any>} the plan of a face (its levels), or null
   */
  async plan(key) {
    return (await this.database.get("plans", key)) ?? null;
  }

  /**
   * @param {string} key
   * @returns {Promise<string | null>} the drawing of a face as SVG
   */
  async drawing(key) {
    return (await this.database.get("drawings", key)) ?? null;
  }

  /**
   * Return the stops of a package, in its order.
   *
   * @param {number} packageId
   * @returns {Promise<Record<string, any>[]>}
   */
  async stops(packageId) {
    const range = IDBKeyRange.bound([packageId], [packageId, []]);
    return this.database.getAllFromIndex("stops", "by_package", range);
  }

  /**
   * @param {number} id
   * @returns {Promise<Record<string, any> | null>}
   */
  async stop(id) {
    return (await this.database.get("stops", id)) ?? null;
  }

  /**
   * Return the roads with a point of theirs in a box or on both sides of it.
   *
   * @param {Box} box
   * @returns {Promise<Record<string, any>[]>}
   */
  async roads(box) {
    /** @type {Record<string, any>[]} */
    const all = await this.database.getAll("roads");
    // A road whose line nobody drew cannot be placed.
    return all.filter(({ line }) => {
      if (!line?.length) {
        return false;
      }
      const lats = line.map((/** @type {number[]} */ point) => point[1]);
      const lons = line.map((/** @type {number[]} */ point) => point[0]);
      return (
        Math.min(...lats) <= box.north_deg &&
        Math.max(...lats) >= box.south_deg &&
        Math.min(...lons) <= box.east_deg &&
        Math.max(...lons) >= box.west_deg
      );
    });
  }

  /**
   * @param {number} photoId of the server
   * @param {Blob} blob
   */
  async putPicture(photoId, blob) {
    const kept = { bytes: await blob.arrayBuffer(), type: blob.type };
    await this.write(["pictures"], (writing) =>
      writing.objectStore("pictures").put(kept, photoId),
    );
  }

  /**
   * @param {number} photoId of the server
   * @returns {Promise<Blob | null>}
   */
  async picture(photoId) {
    const kept = await this.database.get("pictures", photoId);
    return kept ? new Blob([kept.bytes], { type: kept.type }) : null;
  }

  /**
   * Return the small photos that signs of an area name and that are not here yet.
   *
   * @param {string} areaId
   * @returns {Promise<number[]>}
   */
  async picturesMissing(areaId) {
    const signs = await this.database.getAllFromIndex("signs", "by_area", areaId);
    const here = new Set(await this.database.getAllKeys("pictures"));
    const named = signs.flatMap((sign) => sign.photo_ids ?? []);
    return [...new Set(named)].filter((id) => !here.has(id));
  }

  /** Let go of plans, drawings and pictures that no sign, position or face names any more. */
  async dropUnused() {
    const names = ["signs", "positions", "faces", ...SHARED, "pictures"];
    await this.write(names, async (writing) => {
      /** @type {Set<IDBValidKey>} */
      const used = new Set();
      for (const name of ["signs", "positions", "faces"]) {
        for (const row of await writing.objectStore(name).getAll()) {
          for (const key of [row.plan, row.drawing, ...(row.photo_ids ?? [])]) {
            used.add(key);
          }
        }
      }
      for (const name of [...SHARED, "pictures"]) {
        for (const key of await writing.objectStore(name).getAllKeys()) {
          if (!used.has(key)) {
            await writing.objectStore(name).delete(key);
          }
        }
      }
    });
  }
}

/**
 * Return a label in one form, whatever it was typed like.
 *
 * @param {string | null | undefined} typed
 */
function labelKey(typed) {
  const text = (typed ?? "").trim();
  return readLabel(text).label || text.toUpperCase();
}

/** @param {unknown} text */
function wordsOf(text) {
  return String(text ?? "")
    .toLowerCase()
    .split(/[\s,;]+/u)
    .filter(Boolean);
}

/**
 * Return what a row is found by.
 *
 * @param {string} name
 * @param {Record<string, any>} row
 */
function searched(name, row) {
  if (name === "signs") {
    const words = [row.id, row.label_id, row.code, row.name, row.legend_text].flatMap(wordsOf);
    return { label_key: labelKey(row.label_id), words: [...new Set(words)] };
  }
  return name === "supports"
    ? { words: [...new Set([row.id, row.key, row.road].flatMap(wordsOf))] }
    : {};
}

/**
 * @param {Writing} writing
 * @param {string} areaId
 * @param {Record<string, any>} page
 * @param {Map<string, Set<number>>} seen
 */
async function putPage(writing, areaId, page, seen) {
  await putShared(writing, page);
  for (const name of TAGGED) {
    const rows = writing.objectStore(name);
    await Promise.all(
      (page[name] ?? []).map(async (/** @type {Record<string, any>} */ row) => {
        seen.get(name)?.add(row.id);
        const areas = new Set((await rows.get(row.id))?.areas).add(areaId);
        await rows.put({ ...row, ...searched(name, row), areas: [...areas] });
      }),
    );
  }
}

/**
 * @param {Writing} writing
 * @param {Record<string, any>} page
 */
async function putShared(writing, page) {
  for (const name of SHARED) {
    await Promise.all(
      Object.entries(page[name] ?? {}).map(([key, value]) =>
        writing.objectStore(name).put(value, key),
      ),
    );
  }
}

/**
 * Take an area's name off the rows that are not of it any more; a row without any goes.
 *
 * @param {Writing} writing
 * @param {string} name
 * @param {string} areaId
 * @param {Set<number>} kept
 */
async function untag(writing, name, areaId, kept) {
  let cursor = await writing.objectStore(name).index("by_area").openCursor(areaId);
  while (cursor) {
    if (!kept.has(cursor.value.id)) {
      const areas = cursor.value.areas.filter((/** @type {string} */ id) => id !== areaId);
      await (areas.length ? cursor.update({ ...cursor.value, areas }) : cursor.delete());
    }
    cursor = await cursor.continue();
  }
}
