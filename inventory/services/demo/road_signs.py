"""Signs along the roads: speed, bends, bridges, level crossings, schools, towns, the rest."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from inventory.models import Sign
from inventory.services.demo.geography import METRES_PER_MILE
from inventory.services.demo.roadside import Roadside, town_at, travelling
from inventory.services.demo.words import words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from inventory.services.demo.geography import County, Crossing, Curve, Junction, RoadPlan

BOTH_WAYS = (1, -1)
CHEVRONS = (2, 3)
KMH_PER_MPH = 1.609344
SIDE_FRICTION = 0.16  # with superelevation, about what advisory speeds rest on (from memory)
FLUORESCENT = "fluorescent-yellow-green"


def plan_roads(site: Roadside, county: County) -> None:
    """Plan everything that does not belong to a junction."""
    for road in county.roads:
        _plan_speed_limits(site, road)
        _plan_scattered(site, road)
        _plan_markers(site, road)
        _plan_dead_ends(site, road, county.junctions)
        _plan_towns(site, road)
        _plan_border(site, road)
    for number, curve in enumerate(county.curves):
        _plan_curve(site, curve, number)
    for number, crossing in enumerate(county.crossings):
        _plan_crossing(site, crossing, number)
    roads = {road.name: road for road in county.roads}
    for number, school in enumerate(words("signs")["schools"]):
        _plan_school(site, roads[school["road"]], school["along_share"], number)
    for name, shares in words("signs")["crosswalks"]["roads"].items():
        for share in shares:
            _plan_crosswalk(site, roads[name], share * roads[name].length_m)
    for name in words("signs")["one_way"]["streets"]:
        _plan_one_way(site, roads[name])


def _owner(road: RoadPlan) -> str:
    return Sign.Responsible.STATE if road.kind == "state" else Sign.Responsible.AGENCY


def _steps(site: Roadside, key: str, length_m: float, spacing_m: float) -> Iterator[float]:
    """Return places along a length, about the spacing apart."""
    rng = site.rng(key)
    along = spacing_m * rng.uniform(0.3, 0.8)
    while along < length_m - 60.0:
        yield along
        along += spacing_m * rng.uniform(0.75, 1.25)


def _plan_speed_limits(site: Roadside, road: RoadPlan) -> None:
    spacing = words("signs")["speed_limits"]["spacing_m"][road.kind]
    for direction in BOTH_WAYS:
        key = f"speed:{road.name}{direction:+d}"
        for along in _steps(site, key, road.length_m, spacing):
            travel = travelling(road, along, direction)
            post = site.post(f"{key}@{round(along)}", road, travel, responsible=_owner(road))
            speed = 30 if post.is_in_town and road.kind != "street" else road.posted_speed_mph
            site.put(post, "R2-1", travel.bearing_deg, legend=str(speed))


def _plan_scattered(site: Roadside, road: RoadPlan) -> None:
    for row in words("signs")["along"]["rows"]:
        spacing = row["kinds"].get(road.kind)
        if spacing is None:
            continue
        for direction in BOTH_WAYS:
            key = f"{row['code']}:{road.name}{direction:+d}"
            for along in _steps(site, key, road.length_m, spacing):
                travel = travelling(road, along, direction)
                if road.kind != "street" and town_at(travel.east_m, travel.north_m):
                    continue
                own = f"{key}@{round(along)}"
                post = site.post(own, road, travel, responsible=_owner(road))
                sign = site.put(post, row["code"], travel.bearing_deg)
                if row["code"] in {"W11-3", "W11-5"} and site.rng(own).random() < 0.25:
                    site.put(
                        post, "W16-2P", travel.bearing_deg, legend="NEXT 2 MILES", parent=sign
                    )


def _plan_markers(site: Roadside, road: RoadPlan) -> None:
    """Plan reference-location signs on highways, and object markers at culverts."""
    data = words("signs")["markers"]
    if road.kind == "highway":
        spacing_m = data["reference_spacing_m"]
        for number in range(1, int(road.length_m // spacing_m) + 1):
            travel = travelling(road, number * spacing_m, 1)
            mile = round(number * spacing_m / METRES_PER_MILE)
            post = site.post(f"mile:{road.name}:{mile}", road, travel, support_type="u_channel")
            code = "D10-1" if mile < 10 else "D10-2"
            site.put(post, code, travel.bearing_deg, legend=str(mile))
    spacing = data["culvert_spacing_m"].get(road.kind)
    if spacing is None:
        return
    key = f"culvert:{road.name}"
    for along in _steps(site, key, road.length_m, spacing):
        for direction in BOTH_WAYS:
            travel = travelling(road, along, direction)
            own = f"{key}@{round(along)}{direction:+d}"
            post = site.post(own, road, travel, offset_m=4.4, support_type="u_channel")
            site.put(post, "OM2-2V", travel.bearing_deg)


def _plan_dead_ends(site: Roadside, road: RoadPlan, junctions: tuple[Junction, ...]) -> None:
    """Plan warnings of a lane or street that ends, where it begins, and a marker at its end."""
    if road.kind != "lane":
        return
    for end, direction in ((road.length_m, 1), (0.0, -1)):
        here = road.at(end)
        is_joined = any(
            math.hypot(j.east_m - here.east_m, j.north_m - here.north_m) < 5.0
            for j in junctions
        )
        if is_joined or abs(here.east_m) > 13_900:
            continue
        start = travelling(road, 60.0 if direction > 0 else road.length_m - 60.0, direction)
        post = site.post(f"deadend:{road.name}{direction:+d}", road, start)
        site.put(post, "W14-1", start.bearing_deg)
        stop = travelling(road, end, direction)
        for offset in (2.0, -2.0):
            own = f"end:{road.name}{direction:+d}{offset:+.0f}"
            marker = site.post(own, road, stop, offset_m=offset, support_type="u_channel")
            site.put(marker, "OM4-3", stop.bearing_deg)


def _plan_towns(site: Roadside, road: RoadPlan) -> None:
    """Plan the town's name where a highway enters it, with a lower speed limit beyond."""
    if road.kind not in {"highway", "state"}:
        return
    inside: str | None = None
    for i, (east, north) in enumerate(road.points):
        town = town_at(east, north)
        if town == inside:
            continue
        direction = 1 if town else -1
        name = town or inside or ""
        inside = town
        travel = travelling(road, road.distances_m[i], direction)
        post = site.post(f"town:{name}:{road.name}{i}", road, travel, support_type="wood")
        site.put(post, "I2-1", travel.bearing_deg, legend=name)
        ahead = travelling(road, road.distances_m[i] - direction * 120.0, direction)
        slow = site.post(f"slow:{name}:{road.name}{i}", road, ahead, responsible=_owner(road))
        site.put(slow, "W3-5", ahead.bearing_deg, legend="30")


def _plan_border(site: Roadside, road: RoadPlan) -> None:
    """Plan what the neighbouring county keeps at the border: its signs face inwards."""
    if road.kind != "highway":
        return
    for end, direction in ((0.0, -1), (road.length_m, 1)):
        if abs(road.at(end).east_m) < 13_900 and abs(road.at(end).north_m) < 9_900:
            continue
        travel = travelling(road, end, direction)
        post = site.post(
            f"border:{road.name}{direction:+d}",
            road,
            travel,
            responsible=Sign.Responsible.NEIGHBOUR,
        )
        site.put(post, "R2-1", travel.bearing_deg, legend="50")
        entering = travelling(road, end, -direction)
        ours = site.post(f"county:{road.name}{direction:+d}", road, entering)
        site.put(ours, "I2-1", entering.bearing_deg, legend="Ostrelow County")


def advisory_speed_mph(radius_m: float, posted_mph: int) -> int | None:
    """Return the speed a bend is advised for, in fives; nothing where none is needed."""
    speed_kmh = math.sqrt(127.0 * radius_m * SIDE_FRICTION)
    speed = 5 * int(speed_kmh / KMH_PER_MPH / 5)
    return max(15, speed) if speed < posted_mph else None


def _plan_curve(site: Roadside, curve: Curve, number: int) -> None:
    """Plan a bend: warning and advisory speed each way, chevrons where it is sharp."""
    road = curve.road
    if road.kind in {"state", "street"}:
        return
    advised = advisory_speed_mph(curve.radius_m, road.posted_speed_mph)
    for direction in BOTH_WAYS:
        start = curve.start_m if direction > 0 else curve.end_m
        turns_right = (curve.turn_deg > 0) == (direction > 0)
        travel = travelling(road, start - direction * 110.0, direction)
        post = site.post(f"curve{number}{direction:+d}", road, travel)
        code = "W1-1" if advised is not None and advised <= 30 else "W1-2"
        sign = site.put(post, code, travel.bearing_deg, variant="R" if turns_right else "L")
        if advised is not None:
            site.put(post, "W13-1P", travel.bearing_deg, legend=f"{advised} MPH", parent=sign)
    sharp = advised is not None and advised <= road.posted_speed_mph - 20
    if not sharp:
        return
    outside = -1 if curve.turn_deg > 0 else 1
    count = max(CHEVRONS[0], min(CHEVRONS[1], round((curve.end_m - curve.start_m) / 45.0)))
    for step in range(count):
        along = curve.start_m + (step + 0.5) * (curve.end_m - curve.start_m) / count
        travel = travelling(road, along, 1)
        own = f"chevron{number}:{step}"
        post = site.post(own, road, travel, offset_m=outside * 6.0, support_type="u_channel")
        # Seen from both sides: the arrow points the way the road turns for each.
        site.put(post, "W1-8", travel.bearing_deg, variant="R" if curve.turn_deg > 0 else "L")
        site.put(
            post, "W1-8", travel.bearing_deg + 180, variant="L" if curve.turn_deg > 0 else "R"
        )


def _plan_crossing(site: Roadside, crossing: Crossing, number: int) -> None:
    road = crossing.road
    for direction in BOTH_WAYS:
        key = f"{crossing.kind}{number}{direction:+d}"
        near = travelling(road, crossing.along_m - direction * 15.0, direction)
        far = travelling(road, crossing.along_m - direction * 190.0, direction)
        ahead = site.post(f"{key}:ahead", road, far, responsible=_owner(road))
        if crossing.kind == "railway":
            site.put(ahead, "W10-1", far.bearing_deg)
            post = site.post(
                f"{key}:at",
                road,
                near,
                support_type="crossbuck_post",
                responsible=Sign.Responsible.PRIVATE,
            )
            site.put(post, "R15-1", near.bearing_deg)
            continue
        site.put(ahead, "W8-13", far.bearing_deg)
        if road.kind in {"lane", "winding"}:
            site.put(ahead, "W5-2", far.bearing_deg)
            limit = travelling(road, crossing.along_m - direction * 70.0, direction)
            load = site.post(f"{key}:load", road, limit)
            site.put(load, "R12-1", limit.bearing_deg, legend="15 TONS")
        for code, offset in (("OM3-R", 4.2), ("OM3-L", -4.2)):
            marker = site.post(f"{key}:{code}", road, near, offset_m=offset)
            site.put(marker, code, near.bearing_deg)
        name = site.post(f"{key}:name", road, near, offset_m=6.5, responsible=_owner(road))
        site.put(name, "I2-2", near.bearing_deg, legend=words("roads")["river"]["name"])


def _plan_school(site: Roadside, road: RoadPlan, share: float, number: int) -> None:
    middle = share * road.length_m
    for direction in BOTH_WAYS:
        key = f"school{number}{direction:+d}"
        for name, back_m in (("ahead", 200.0), ("limit", 120.0), ("end", -120.0)):
            travel = travelling(road, middle - direction * back_m, direction)
            post = site.post(f"{key}:{name}", road, travel)
            if name == "ahead":
                sign = site.put(post, "S1-1", travel.bearing_deg)
                site.put(
                    post, "W16-9P", travel.bearing_deg, parent=sign, background=FLUORESCENT
                )
            elif name == "limit":
                site.put(post, "S4-3P", travel.bearing_deg)
                site.put(post, "R2-1", travel.bearing_deg, legend="20")
                site.put(post, "S4-2P", travel.bearing_deg, parent=1)
                post.positions[0].parent = 1
            else:
                site.put(post, "S5-2", travel.bearing_deg)


def _plan_crosswalk(site: Roadside, road: RoadPlan, along_m: float) -> None:
    for direction in BOTH_WAYS:
        travel = travelling(road, along_m, direction)
        post = site.post(f"walk:{road.name}@{round(along_m)}{direction:+d}", road, travel)
        sign = site.put(post, "W11-2", travel.bearing_deg, background=FLUORESCENT)
        site.put(
            post,
            "W16-7P",
            travel.bearing_deg,
            variant="L",
            parent=sign,
            background=FLUORESCENT,
        )


def _plan_one_way(site: Roadside, road: RoadPlan) -> None:
    """Plan a street that runs one way (up): arrows along it, no entry at its upper end."""
    for along in range(70, int(road.length_m), 120):
        travel = travelling(road, along - 12.0, 1)
        post = site.post(f"oneway:{road.name}@{along}", road, travel, offset_m=-4.6)
        site.put(post, "R6-1", travel.bearing_deg + 90, variant="L")
        site.put(post, "R6-1", travel.bearing_deg - 90, variant="R")
    against = travelling(road, road.length_m - 4.0, -1)
    for offset in (4.6, -4.6):
        post = site.post(f"noentry:{road.name}{offset:+.0f}", road, against, offset_m=offset)
        site.put(post, "R5-1", against.bearing_deg)
        further = travelling(road, road.length_m - 45.0, -1)
        wrong = site.post(f"wrong:{road.name}{offset:+.0f}", road, further, offset_m=offset)
        site.put(wrong, "R5-1a", further.bearing_deg)
