"""What stands at the roadside: plans of supports and the positions on them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from random import Random
from typing import TYPE_CHECKING

from inventory.engineering.places.directions import (
    facing_from_traffic_deg,
    normalise_bearing_deg,
)
from inventory.engineering.standards.catalogue import exact_sign_type, standard_size
from inventory.engineering.standards.vocabulary import RoadClass
from inventory.errors import NoPublishedValueError
from inventory.models import Sign
from inventory.models.places import Mount
from inventory.services.demo.geography import Place, beside
from inventory.services.demo.words import pick, words

if TYPE_CHECKING:
    from inventory.services.demo.geography import RoadPlan

TOWN_KINDS = frozenset({"street"})
SIDES = ("north", "east", "south", "west")
STEP_IN = 6  # panels come in steps of 6 in (shop practice)


@dataclass(slots=True)
class PositionPlan:
    """One place for a sign, as the county's records know it."""

    key: str
    code: str
    facing_deg: float | None
    width_in: float | None
    height_in: float | None
    variant: str = ""
    legend: str = ""
    source_code: str = ""
    is_custom: bool = False
    background: str = ""
    mount: str = Mount.POST
    mounting_height_in: float | None = None
    parent: int | None = None
    panel: str = ""
    is_vague: bool = False
    has_no_size: bool = False
    is_printed: bool = False

    @property
    def recorded_code(self) -> str:
        """Return the code on record; of a face the shop printed it is always known."""
        return "" if self.is_vague and not self.is_printed else self.code

    @property
    def recorded_size(self) -> tuple[float | None, float | None]:
        """Return the size on record, likewise."""
        if self.has_no_size and not self.is_printed:
            return None, None
        return self.width_in, self.height_in


@dataclass(slots=True)
class SupportPlan:
    """One post with what is on it, top first."""

    key: str
    east_m: float
    north_m: float
    road: RoadPlan
    along_m: float
    side: str
    support_type: str
    post_count: int | None
    is_in_town: bool
    responsible: str = Sign.Responsible.AGENCY
    number: int = 0
    positions: list[PositionPlan] = field(default_factory=list)


@cache
def size_for(code: str, road_class: str, legend: str) -> tuple[float | None, float | None]:
    """Return the standard size; a width that varies follows from the legend's length."""
    sign_type = exact_sign_type(code)
    if sign_type is None:
        local = {row["code"]: row for row in words("scenario")["local_types"]}
        return (
            (local[code]["width_in"], local[code]["height_in"])
            if code in local
            else (None, None)
        )
    try:
        size = standard_size(sign_type, RoadClass(road_class))
    except NoPublishedValueError:
        rows = {row["code"]: row for row in words("signs")["along"]["rows"]}
        row = rows.get(code, {})
        return row.get("width_in"), row.get("height_in")
    height = float(size.height_in) if size.height_in is not None else None
    width = float(size.width_in) if size.width_in is not None else None
    if width is None and height is not None:
        width = legend_width_in(legend, height)
    return width, height


def legend_width_in(legend: str, height_in: float) -> float:
    """Return a panel width, in steps of 6 in, for the longest line of a legend."""
    lines = legend.split("\n")
    letter_in = min(6.0, height_in / (len(lines) + 1))
    wanted = 0.72 * letter_in * max(len(line) for line in lines) + 6.0
    return float(min(120, max(24, STEP_IN * math.ceil(wanted / STEP_IN))))


def short_name(name: str) -> str:
    """Return a road's name as it stands on a blade."""
    short = words("signs")["abbreviations"]
    return " ".join(short.get(word, word) for word in name.split())


class Roadside:
    """The supports planned so far; every choice follows from the seed and the support's key."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.supports: list[SupportPlan] = []

    def rng(self, key: str) -> Random:
        """Return the source of chance of one thing; the same for the same seed and key."""
        return Random(f"{self.seed}:{key}")  # noqa: S311 - an invented scenario, not a secret

    def post(
        self,
        key: str,
        road: RoadPlan,
        travel: Place,
        *,
        offset_m: float = 5.5,
        support_type: str = "",
        responsible: str = Sign.Responsible.AGENCY,
    ) -> SupportPlan:
        """Plan a support to the right of traffic going along ``travel``."""
        rng = self.rng(key)
        east, north = beside(travel, offset_m + rng.uniform(-0.6, 0.6))
        in_town = road.kind in TOWN_KINDS or _is_in_town(east, north)
        side_deg = normalise_bearing_deg(travel.bearing_deg + (90.0 if offset_m > 0 else -90.0))
        kind = support_type or pick(
            rng, words("signs")["supports"]["town" if in_town else "rural"]
        )
        support = SupportPlan(
            key=key,
            east_m=east,
            north_m=north,
            road=road,
            along_m=travel.along_m,
            side=f"{SIDES[round(side_deg / 90.0) % 4]} side",
            support_type="" if kind == "unknown" else kind,
            post_count=None if kind == "unknown" else 1,
            is_in_town=in_town,
            responsible=responsible,
        )
        self.supports.append(support)
        return support

    def put(
        self,
        support: SupportPlan,
        code: str,
        travel_deg: float,
        *,
        variant: str = "",
        legend: str = "",
        parent: int | None = None,
        panel: str = "",
        background: str = "",
        mount: str = Mount.POST,
        size: tuple[float | None, float | None] | None = None,
    ) -> int:
        """Plan one sign, read by traffic going ``travel_deg``; return its place on the post."""
        place = len(support.positions)
        width, height = size or size_for(code, support.road.road_class, legend)
        key = f"{support.key}#{place}"
        facing = normalise_bearing_deg(float(round(facing_from_traffic_deg(travel_deg))))
        support.positions.append(
            PositionPlan(
                key=key,
                code=code,
                facing_deg=facing,
                width_in=width,
                height_in=height,
                variant=variant,
                legend=legend,
                background=background,
                mount=mount,
                mounting_height_in=84.0 if support.is_in_town else 60.0,
                parent=parent,
                panel=panel or key,
            )
        )
        if width is not None and width >= 48 and support.post_count == 1:
            support.post_count = 2
        return place

    def blades(
        self, support: SupportPlan, roads: list[RoadPlan], bearings: list[float]
    ) -> None:
        """Plan street-name blades: one panel a road, the name on both of its sides."""
        for road, bearing in zip(roads, bearings, strict=True):
            in_town = support.is_in_town
            height = 8.0 if in_town else 12.0
            legend = short_name(road.name)
            size = (legend_width_in(legend, height), height)
            panel = f"{support.key}/{road.name}"
            for turn in (90.0, 270.0):
                self.put(support, "D3-1", bearing + turn, legend=legend, panel=panel, size=size)


def travelling(road: RoadPlan, along_m: float, direction: int) -> Place:
    """Return a point of a road with the bearing of traffic going up (+1) or down (−1) it."""
    place = road.at(along_m)
    if direction > 0:
        return place
    return Place(
        place.east_m,
        place.north_m,
        place.along_m,
        normalise_bearing_deg(place.bearing_deg + 180.0),
    )


def _is_in_town(east_m: float, north_m: float) -> bool:
    return town_at(east_m, north_m) is not None


def town_at(east_m: float, north_m: float) -> str | None:
    """Return the town a point lies in."""
    for town in words("signs")["towns"]["places"]:
        east, north = (1000.0 * value for value in town["at"])
        if math.hypot(east_m - east, north_m - north) < 1000.0 * town["radius_km"]:
            return str(town["name"])
    return None
