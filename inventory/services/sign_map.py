"""What the map shows of a box: single signs, or counts where there are too many."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Avg, Count, F, Max, Min, Q

from inventory.engineering.places import CELL_LEVEL, cell_ranges_of_box
from inventory.models import Road

if TYPE_CHECKING:
    from inventory.models import Organisation, ScopedQuerySet

MAXIMUM_MARKERS = 400
# A tile is 256 px wide at its own zoom, so a cell two levels finer is 64 px wide.
GROUP_LEVELS_BELOW_TILE = 2

MARKER_COLUMNS = (
    "sign_id",
    "latitude_deg",
    "longitude_deg",
    "verdict",
    "is_due",
    "is_due_soon",
    "condition",
    "sign_code",
    "sign_name",
)


@dataclass(frozen=True)
class Box:
    """A part of the map in WGS 84 degrees."""

    south_deg: float
    west_deg: float
    north_deg: float
    east_deg: float


@dataclass(frozen=True)
class MapView:
    """Either the signs of a box, one by one, or groups of them with their counts."""

    signs: list[dict[str, Any]]
    groups: list[dict[str, Any]]


def in_box(standings: ScopedQuerySet, box: Box) -> ScopedQuerySet:
    """Return the signs inside a box, found by ranges of their map cells."""
    ranges = cell_ranges_of_box(box.south_deg, box.west_deg, box.north_deg, box.east_deg)
    in_cells = Q()
    for first, last in ranges:
        in_cells |= Q(cell__gte=first, cell__lte=last)
    return standings.filter(
        in_cells,
        # SQLite takes no index for ranges joined by OR beside an owner; the span of them
        # all it does, and it weighs the ranges before it fetches a row.
        cell__gte=ranges[0][0],
        cell__lte=ranges[-1][1],
        latitude_deg__gte=box.south_deg,
        latitude_deg__lte=box.north_deg,
        longitude_deg__gte=box.west_deg,
        longitude_deg__lte=box.east_deg,
    )


def view_box(standings: ScopedQuerySet, box: Box, zoom: int) -> MapView:
    """Return what to draw of a box; more signs than can be told apart come as groups."""
    inside = in_box(standings, box)
    signs = list(
        inside.order_by("cell", "sign_id").values(*MARKER_COLUMNS)[: MAXIMUM_MARKERS + 1]
    )
    if len(signs) <= MAXIMUM_MARKERS:
        return MapView(signs, [])
    level = min(CELL_LEVEL, zoom + GROUP_LEVELS_BELOW_TILE)
    shift = 2 * (CELL_LEVEL - level)
    groups = (
        inside.order_by()
        .annotate(group=F("cell").bitrightshift(shift))
        .values("group")
        .annotate(
            sign_count=Count("pk"),
            due_count=Count("pk", filter=Q(is_due=True)),
            latitude_deg=Avg("latitude_deg"),
            longitude_deg=Avg("longitude_deg"),
        )
        .order_by("group")
    )
    return MapView([], list(groups))


def extent(standings: ScopedQuerySet) -> Box | None:
    """Return the smallest box around the signs; ``None`` when there is no sign."""
    edges = standings.aggregate(
        south=Min("latitude_deg"),
        west=Min("longitude_deg"),
        north=Max("latitude_deg"),
        east=Max("longitude_deg"),
    )
    if edges["south"] is None:
        return None
    return Box(edges["south"], edges["west"], edges["north"], edges["east"])


def road_lines(organisation: Organisation) -> list[dict[str, Any]]:
    """Return the roads whose centre line is known, to draw under the signs."""
    return list(
        Road.objects.owned_by(organisation)
        .filter(line__isnull=False)
        .order_by("pk")
        .values("pk", "name", "road_class", "line")
    )
