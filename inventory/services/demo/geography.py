"""The invented county's roads, and where they meet each other, the river and the railway."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from pyproj import Transformer

from inventory.engineering.places.directions import normalise_bearing_deg
from inventory.services.demo.words import words

if TYPE_CHECKING:
    from collections.abc import Sequence

Point = tuple[float, float]

STEP_M = 40.0
SNAP_M = 300.0
TOUCHING_M = 1.0
APART_M = 20.0
JOINED_KINDS = frozenset({"winding", "lane", "street"})
WARNED_RADIUS_M = 650.0
WARNED_TURN_DEG = 20.0
METRES_PER_MILE = 1609.344  # exact by definition (NIST SP 811, appendix B.8)


@dataclass(frozen=True, slots=True)
class Place:
    """A point of a road: where, how far along, and which way the road runs there."""

    east_m: float
    north_m: float
    along_m: float
    bearing_deg: float


@dataclass(slots=True)
class RoadPlan:
    """One road as a line of points in metres east and north of the county's origin."""

    name: str
    kind: str
    route: str
    town: str
    points: list[Point]
    road_class: str
    posted_speed_mph: int
    rank: int
    distances_m: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.measure()

    def measure(self) -> None:
        """Work out how far along the road each of its points lies."""
        self.distances_m = [0.0]
        for (x0, y0), (x1, y1) in zip(self.points, self.points[1:], strict=False):
            self.distances_m.append(self.distances_m[-1] + math.hypot(x1 - x0, y1 - y0))

    @property
    def length_m(self) -> float:
        """Return the length of the road."""
        return self.distances_m[-1]

    def at(self, along_m: float) -> Place:
        """Return the point a distance along the road, kept between its ends."""
        along = min(max(along_m, 0.0), self.length_m)
        last = len(self.points) - 2
        i = min(_segment_index(self.distances_m, along), last)
        (x0, y0), (x1, y1) = self.points[i], self.points[i + 1]
        length = self.distances_m[i + 1] - self.distances_m[i]
        share = (along - self.distances_m[i]) / length if length else 0.0
        bearing = math.degrees(math.atan2(x1 - x0, y1 - y0))
        return Place(
            x0 + share * (x1 - x0),
            y0 + share * (y1 - y0),
            along,
            normalise_bearing_deg(bearing),
        )


@dataclass(frozen=True, slots=True)
class Arm:
    """One way out of a junction; ``outward`` is +1 where the road's distance grows away."""

    road: RoadPlan
    along_m: float
    outward: int

    def approach(self, back_m: float) -> Place:
        """Return the point ``back_m`` before the junction, bearing towards it."""
        place = self.road.at(self.along_m + self.outward * back_m)
        turn = 180.0 if self.outward > 0 else 0.0
        return Place(
            place.east_m,
            place.north_m,
            place.along_m,
            normalise_bearing_deg(place.bearing_deg + turn),
        )

    @property
    def room_m(self) -> float:
        """Return how much road there is on this arm."""
        return self.road.length_m - self.along_m if self.outward > 0 else self.along_m


@dataclass(frozen=True, slots=True)
class Junction:
    """Where two roads meet, with three or four arms."""

    key: str
    east_m: float
    north_m: float
    arms: tuple[Arm, ...]

    @property
    def roads(self) -> list[RoadPlan]:
        """Return the roads that meet, the one that goes first before the other."""
        named = {arm.road.name: arm.road for arm in self.arms}
        return sorted(named.values(), key=lambda road: (-road.rank, road.name))


@dataclass(frozen=True, slots=True)
class Curve:
    """A bend of a road sharp enough to warn of."""

    road: RoadPlan
    start_m: float
    end_m: float
    turn_deg: float
    radius_m: float


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a road crosses the river or the railway."""

    kind: str
    road: RoadPlan
    along_m: float


@dataclass(frozen=True, slots=True)
class County:
    """All roads with their junctions, bends and crossings."""

    roads: tuple[RoadPlan, ...]
    junctions: tuple[Junction, ...]
    curves: tuple[Curve, ...]
    crossings: tuple[Crossing, ...]


def _segment_index(distances: Sequence[float], along: float) -> int:
    low, high = 0, len(distances) - 1
    while high - low > 1:
        middle = (low + high) // 2
        if distances[middle] <= along:
            low = middle
        else:
            high = middle
    return low


def _smooth(points: Sequence[Point]) -> list[Point]:
    """Return a curve through the points (uniform Catmull-Rom), a point every 40 m or so."""
    if len(points) == 2:
        return list(points)
    out: list[Point] = [points[0]]
    for i in range(len(points) - 1):
        p0 = points[max(i - 1, 0)]
        p1, p2 = points[i], points[i + 1]
        p3 = points[min(i + 2, len(points) - 1)]
        steps = max(1, round(math.dist(p1, p2) / STEP_M))
        for step in range(1, steps + 1):
            t = step / steps
            out.append(
                (
                    _catmull_rom(p0[0], p1[0], p2[0], p3[0], t),
                    _catmull_rom(p0[1], p1[1], p2[1], p3[1], t),
                )
            )
    return out


def _catmull_rom(a: float, b: float, c: float, d: float, t: float) -> float:
    return 0.5 * (
        2 * b
        + (c - a) * t
        + (2 * a - 5 * b + 4 * c - d) * t * t
        + (3 * b - a - 3 * c + d) * t * t * t
    )


def _metres(points: Sequence[Sequence[float]]) -> list[Point]:
    return [(1000.0 * east, 1000.0 * north) for east, north in points]


def _make_roads(data: dict[str, Any]) -> list[RoadPlan]:
    """Return every road; one that starts or ends near an earlier road is joined to it."""
    roads: list[RoadPlan] = []
    for each in data["roads"]:
        kind = data["kinds"][each["kind"]]
        points = _metres(each["points"])
        if each["kind"] in JOINED_KINDS:
            points[0] = _joined(points[0], roads)
            points[-1] = _joined(points[-1], roads)
        roads.append(
            RoadPlan(
                name=each["name"],
                kind=each["kind"],
                route=each.get("route", ""),
                town="",
                points=_smooth(points),
                **kind,
            )
        )
    for grid in data["grids"]:
        roads += _grid_streets(grid, data["kinds"]["street"])
    return roads


def _joined(point: Point, roads: Sequence[RoadPlan]) -> Point:
    """Return the nearest point of the nearest road, or the point itself if none is near."""
    distance, along, index = min(
        (*_nearest_along(road, point), index) for index, road in enumerate(roads)
    )
    if distance > SNAP_M:
        return point
    place = roads[index].at(along)
    return (place.east_m, place.north_m)


def _grid_streets(grid: dict[str, Any], kind: dict[str, Any]) -> list[RoadPlan]:
    """Return the streets of a town's grid; an empty name keeps the place of a through road."""
    east, north = (1000.0 * value for value in grid["center"])
    spacing = 1000.0 * grid["spacing_km"]
    columns, rows = grid["north_south"], grid["east_west"]
    half_width = spacing * (len(columns) - 1) / 2
    half_height = spacing * (len(rows) - 1) / 2
    out = []
    for i, name in enumerate(columns):
        if name:
            x = east - half_width + i * spacing
            ends = [(x, north - half_height - 70.0), (x, north + half_height + 70.0)]
            out.append((name, ends))
    for i, name in enumerate(rows):
        y = north - half_height + i * spacing
        out.append(
            (name, [(east - half_width - 70.0, y), (east + half_width + 70.0, y)]),
        )
    return [
        RoadPlan(name=name, kind="street", route="", town=grid["town"], points=ends, **kind)
        for name, ends in out
    ]


def _line_crossings(a: RoadPlan, b: RoadPlan) -> list[tuple[float, float]]:
    """Return the distances along both roads where they cross."""
    first, second = np.array(a.points), np.array(b.points)
    if (first.max(0) < second.min(0)).any() or (second.max(0) < first.min(0)).any():
        return []
    step_a, step_b = np.diff(first, axis=0)[:, None, :], np.diff(second, axis=0)[None, :, :]
    gap = second[None, :-1, :] - first[:-1, None, :]
    cross = step_a[..., 0] * step_b[..., 1] - step_a[..., 1] * step_b[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (gap[..., 0] * step_b[..., 1] - gap[..., 1] * step_b[..., 0]) / cross
        u = (gap[..., 0] * step_a[..., 1] - gap[..., 1] * step_a[..., 0]) / cross
    hits = np.argwhere((t >= 0) & (t < 1) & (u >= 0) & (u < 1))
    return [
        (_along(a, i, float(t[i, j])), _along(b, j, float(u[i, j]))) for i, j in hits.tolist()
    ]


def _along(road: RoadPlan, index: int, share: float) -> float:
    start, end = road.distances_m[index], road.distances_m[index + 1]
    return start + share * (end - start)


def _nearest_along(road: RoadPlan, point: Point) -> tuple[float, float]:
    """Return how far away the road is from a point, and where along it."""
    line = np.array(road.points)
    steps = np.diff(line, axis=0)
    shares = ((np.array(point) - line[:-1]) * steps).sum(1) / (steps * steps).sum(1)
    shares = shares.clip(0.0, 1.0)
    gaps = np.hypot(*(line[:-1] + shares[:, None] * steps - np.array(point)).T)
    i = int(gaps.argmin())
    return float(gaps[i]), _along(road, i, float(shares[i]))


def _find_junctions(roads: Sequence[RoadPlan]) -> list[Junction]:
    """Return where roads meet: first where one ends on another, then where two cross."""
    junctions: list[Junction] = []
    for road in roads:
        for end, outward, along in ((0, 1, 0.0), (-1, -1, road.length_m)):
            for other in roads:
                distance, along_other = _nearest_along(other, road.points[end])
                if other is not road and distance < TOUCHING_M:
                    arms = [Arm(road, along, outward), *_arms_of(other, along_other)]
                    junctions.append(_junction(*road.points[end], arms))
                    break
    for i, a in enumerate(roads):
        for b in roads[i + 1 :]:
            for along_a, along_b in _line_crossings(a, b):
                place = a.at(along_a)
                here = (place.east_m, place.north_m)
                arms = _arms_of(a, along_a) + _arms_of(b, along_b)
                is_new = all(
                    math.dist(here, (j.east_m, j.north_m)) > APART_M for j in junctions
                )
                if is_new and len(arms) >= 3:
                    junctions.append(_junction(*here, arms))
    return junctions


def _arms_of(road: RoadPlan, along: float) -> list[Arm]:
    """Return the arms a road gives a junction; a stub under 30 m is none."""
    arms = []
    if along > 30.0:
        arms.append(Arm(road, along, -1))
    if road.length_m - along > 30.0:
        arms.append(Arm(road, along, 1))
    return arms


def _junction(east: float, north: float, arms: Sequence[Arm]) -> Junction:
    names = "/".join(sorted({arm.road.name for arm in arms}))
    return Junction(f"{names}@{round(east)},{round(north)}", east, north, tuple(arms))


def _find_curves(road: RoadPlan) -> list[Curve]:
    """Return the bends of a road that are tight enough, and turn enough, to warn of."""
    bends: list[list[tuple[int, float, float]]] = []
    for i in range(1, len(road.points) - 1):
        (x0, y0), (x1, y1), (x2, y2) = road.points[i - 1 : i + 2]
        before, after = math.atan2(x1 - x0, y1 - y0), math.atan2(x2 - x1, y2 - y1)
        turn = math.remainder(after - before, math.tau)
        radius = (road.distances_m[i + 1] - road.distances_m[i - 1]) / 2 / max(abs(turn), 1e-9)
        if radius > WARNED_RADIUS_M:
            continue
        last = bends[-1][-1] if bends else None
        if last is not None and last[0] == i - 1 and (last[1] > 0) == (turn > 0):
            bends[-1].append((i, turn, radius))
        else:
            bends.append([(i, turn, radius)])
    return [
        Curve(
            road,
            road.distances_m[bend[0][0] - 1],
            road.distances_m[bend[-1][0] + 1],
            math.degrees(sum(turn for _i, turn, _radius in bend)),
            min(radius for _i, _turn, radius in bend),
        )
        for bend in bends
        if abs(math.degrees(sum(turn for _i, turn, _radius in bend))) >= WARNED_TURN_DEG
    ]


def _natural_line(data: dict[str, Any]) -> RoadPlan:
    """Return the river or the railway in the form of a road, to ask where roads cross it."""
    points = _smooth(_metres(data["points"]))
    return RoadPlan(data["name"], "", "", "", points, "", 0, 0)


@lru_cache(maxsize=1)
def county() -> County:
    """Return the county; the same every time."""
    data = words("roads")
    roads = _make_roads(data)
    junctions = _find_junctions(roads)
    curves = [curve for road in roads for curve in _find_curves(road)]
    crossings = [
        Crossing(kind, road, along)
        for kind in ("river", "railway")
        for road in roads
        for along, _on_line in _line_crossings(road, _natural_line(data[kind]))
    ]
    return County(tuple(roads), tuple(junctions), tuple(curves), tuple(crossings))


@lru_cache(maxsize=1)
def _to_globe() -> Transformer:
    origin = words("roads")["origin"]
    return Transformer.from_crs(
        f"+proj=aeqd +lat_0={origin['latitude_deg']} +lon_0={origin['longitude_deg']} "
        "+datum=WGS84 +units=m",
        "EPSG:4326",
        always_xy=True,
    )


def to_latitude_longitude(points: Sequence[Point]) -> list[tuple[float, float]]:
    """Return points in metres as WGS 84 latitude and longitude, to about a centimetre."""
    longitudes, latitudes = _to_globe().transform(
        [east for east, _north in points], [north for _east, north in points]
    )
    return [
        (round(latitude, 7), round(longitude, 7))
        for latitude, longitude in zip(latitudes, longitudes, strict=True)
    ]


def beside(place: Place, offset_m: float) -> Point:
    """Return the point to the right of somebody going along the place's bearing."""
    right = math.radians(place.bearing_deg + 90.0)
    return (
        place.east_m + offset_m * math.sin(right),
        place.north_m + offset_m * math.cos(right),
    )
