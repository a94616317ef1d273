"""Signs at junctions: who stops, what the roads are called, where they lead."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import Sign
from inventory.models.places import Mount
from inventory.services.demo.geography import Place
from inventory.services.demo.roadside import Roadside, short_name, town_at
from inventory.services.demo.words import words

if TYPE_CHECKING:
    from random import Random

    from inventory.services.demo.geography import Arm, Junction, RoadPlan
    from inventory.services.demo.roadside import SupportPlan

CARDINALS = (("M3-1P", "NORTH"), ("M3-2P", "EAST"), ("M3-3P", "SOUTH"), ("M3-4P", "WEST"))
FAST_MPH = 40
NAMED_SHARE = 0.62  # of junctions in the country


def plan_junctions(site: Roadside, junctions: tuple[Junction, ...]) -> None:
    """Plan the signs of every junction."""
    for junction in junctions:
        rng = site.rng(junction.key)
        if {road.name for road in junction.roads} == set(words("signs")["signal"]["roads"]):
            _plan_signal(site, junction)
            continue
        stopping, is_all_way = _who_stops(junction, rng)
        name_post = _plan_stops(site, junction, stopping, is_all_way, rng)
        _plan_names(site, junction, name_post)
        for arm in junction.arms:
            if arm.room_m > 250 and arm.road.posted_speed_mph >= FAST_MPH:
                _plan_warning_ahead(site, junction, arm, arm in stopping)
        if any(road.kind in {"highway", "state"} for road in junction.roads):
            _plan_routes(site, junction, rng)


def _who_stops(junction: Junction, rng: Random) -> tuple[list[Arm], bool]:
    """Return the arms that stop, and whether all do."""
    first, *rest = junction.roads
    minor = rest[0] if rest else first
    is_equal = first.rank == minor.rank
    if is_equal and rng.random() < (0.4 if first.kind == "highway" else 0.15):
        return list(junction.arms), True
    ending = [name for name, count in _arm_counts(junction).items() if count == 1]
    if is_equal and ending:
        return [arm for arm in junction.arms if arm.road.name in ending], False
    return [arm for arm in junction.arms if arm.road is minor], False


def _arm_counts(junction: Junction) -> dict[str, int]:
    counts: dict[str, int] = {}
    for arm in junction.arms:
        counts[arm.road.name] = counts.get(arm.road.name, 0) + 1
    return counts


def _plan_stops(
    site: Roadside,
    junction: Junction,
    stopping: list[Arm],
    is_all_way: bool,
    rng: Random,
) -> SupportPlan | None:
    """Plan a Stop or Yield sign on each stopping arm; return the first post."""
    one_way = words("signs")["one_way"]["streets"]
    first: SupportPlan | None = None
    is_yield = not is_all_way and rng.random() < 0.07
    for number, arm in enumerate(stopping):
        travel = arm.approach(9.0 if arm.road.kind == "street" else 14.0)
        key = f"{junction.key}:stop{number}"
        if arm.road.name in one_way and arm.outward < 0:
            continue  # nobody comes from the end of a one-way street
        post = site.post(key, arm.road, travel, offset_m=_offset(arm.road))
        if first is None:
            first = post
            if post.is_in_town or rng.random() < NAMED_SHARE:
                _blades(site, junction, post)
        code = "R1-2" if is_yield else "R1-1"
        stop = site.put(post, code, travel.bearing_deg)
        if is_all_way:
            site.put(post, "R1-3P", travel.bearing_deg, parent=stop)
        elif not is_yield and rng.random() < 0.12:
            site.put(post, "W4-4P", travel.bearing_deg, parent=stop)
    return first


def _offset(road: RoadPlan) -> float:
    return 4.6 if road.kind == "street" else 6.5


def _blades(site: Roadside, junction: Junction, post: SupportPlan) -> None:
    roads = [road for road in junction.roads if road.kind != "state"]
    bearings = [
        next(arm.approach(5.0).bearing_deg for arm in junction.arms if arm.road is road)
        for road in roads
    ]
    site.blades(post, roads, bearings)


def _plan_names(site: Roadside, junction: Junction, post: SupportPlan | None) -> None:
    """Plan a post of their own for the names where nobody stops."""
    if post is not None:
        return
    arm = junction.arms[0]
    own = site.post(f"{junction.key}:names", arm.road, arm.approach(8.0))
    _blades(site, junction, own)


def _plan_warning_ahead(site: Roadside, junction: Junction, arm: Arm, does_stop: bool) -> None:
    """Plan what traffic is told before the junction: stop ahead, or a side or cross road."""
    travel = arm.approach(min(180.0, arm.room_m / 2))
    if town_at(travel.east_m, travel.north_m) is not None:
        return  # streets come one after another there
    is_named = arm.road.kind == "state"
    key = f"{junction.key}:ahead:{arm.road.name}{arm.outward:+d}"
    counts = _arm_counts(junction)
    rng = site.rng(key)
    if does_stop:
        post = site.post(key, arm.road, travel)
        site.put(post, "W3-1", travel.bearing_deg)
        if counts[arm.road.name] == 1 and len(junction.arms) == 3:
            end = arm.approach(0.0)
            far = Place(junction.east_m, junction.north_m, end.along_m, end.bearing_deg - 90.0)
            across = site.post(f"{key}:arrow", arm.road, far, offset_m=9.0)
            site.put(across, "W1-7", arm.approach(20.0).bearing_deg)
        return
    if rng.random() < 0.55:
        post = site.post(
            key,
            arm.road,
            travel,
            responsible=Sign.Responsible.STATE if is_named else Sign.Responsible.AGENCY,
        )
        if len(junction.arms) == 4:
            warn = site.put(post, "W2-1", travel.bearing_deg)
        else:
            warn = site.put(post, "W2-2", travel.bearing_deg, variant=rng.choice("LR"))
        if rng.random() < 0.3:
            other = next(road for road in junction.roads if road is not arm.road)
            site.put(
                post,
                "D3-2",
                travel.bearing_deg,
                legend=short_name(other.name),
                parent=warn,
            )


def _plan_routes(site: Roadside, junction: Junction, rng: Random) -> None:
    """Plan route markers after the junction and junction assemblies before it."""
    for arm in junction.arms:
        road = arm.road
        others = [each for each in junction.roads if each is not road and each.route]
        key = f"{junction.key}:route:{road.name}{arm.outward:+d}"
        if road.route and arm.room_m > 300 and rng.random() < 0.36:
            away = arm.approach(130.0)
            travel = Place(away.east_m, away.north_m, away.along_m, away.bearing_deg + 180.0)
            is_state = road.kind == "state"
            owner = Sign.Responsible.STATE if is_state else Sign.Responsible.AGENCY
            post = site.post(f"{key}:on", road, travel, responsible=owner)
            cardinal, word = CARDINALS[round((travel.bearing_deg % 360) / 90.0) % 4]
            marker = site.put(
                post, "M1-5" if is_state else "M1-6", travel.bearing_deg, legend=road.route
            )
            # The plaque hangs over its marker: the order on the support is top first.
            site.put(post, cardinal, travel.bearing_deg, legend=word, parent=marker)
            post.positions.reverse()
            post.positions[0].parent, post.positions[1].parent = 1, None
        if others and arm.room_m > 300 and rng.random() < 0.24:
            travel = arm.approach(110.0)
            post = site.post(f"{key}:junction", road, travel)
            site.put(post, "M2-1P", travel.bearing_deg)
            is_state = others[0].kind == "state"
            site.put(
                post,
                "M1-5" if is_state else "M1-6",
                travel.bearing_deg,
                legend=others[0].route,
            )
            post.positions[0].parent = 1
        if road.kind == "highway" and arm.room_m > 600 and rng.random() < 0.2:
            _plan_destinations(site, junction, arm, key)


def _plan_destinations(site: Roadside, junction: Junction, arm: Arm, key: str) -> None:
    """Plan a destination sign of two towns, the nearer first."""
    travel = arm.approach(230.0)
    towns = words("signs")["towns"]["places"]
    near = sorted(
        towns,
        key=lambda town: (
            (1000 * town["at"][0] - junction.east_m) ** 2
            + (1000 * town["at"][1] - junction.north_m) ** 2
        ),
    )
    legend = "\n".join(town["name"] for town in near[:2])
    post = site.post(f"{key}:towns", arm.road, travel, support_type="wood", offset_m=8.0)
    post.post_count = 2
    site.put(post, "D1-2", travel.bearing_deg, legend=legend)


def _plan_signal(site: Roadside, junction: Junction) -> None:
    """Plan the signalled junction: names over the road, lane signs, signal ahead."""
    for number, arm in enumerate(junction.arms):
        travel = arm.approach(18.0)
        key = f"{junction.key}:signal{number}"
        other = next(road for road in junction.roads if road is not arm.road)
        over = site.post(f"{key}:over", arm.road, travel, support_type="mast_arm")
        site.put(
            over,
            "D3-1",
            travel.bearing_deg,
            legend=short_name(other.name),
            mount=Mount.OVERHEAD,
            size=(72.0, 24.0),
        )
        lanes = site.post(f"{key}:lanes", arm.road, arm.approach(60.0))
        site.put(lanes, "R3-7", travel.bearing_deg, variant="R")
        stop_line = site.post(f"{key}:line", arm.road, arm.approach(22.0), offset_m=5.0)
        site.put(stop_line, "R10-6", travel.bearing_deg)
        ahead = site.post(f"{key}:ahead", arm.road, arm.approach(min(200.0, arm.room_m / 2)))
        site.put(ahead, "W3-3", arm.approach(200.0).bearing_deg)
