"""Which signs, and which places without one, are near a person; and finding a sign by words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from django.db.models import Exists, OuterRef, Q

from inventory.engineering.places import bearing_deg, cell_ranges_of_box, nearest
from inventory.engineering.places.surroundings import box_around
from inventory.engineering.production.labels import read_label
from inventory.errors import OutOfRangeError
from inventory.models import Position, Road, Sign, Standing

if TYPE_CHECKING:
    from inventory.models import Organisation, ScopedQuerySet

SEARCH_RADII_M = (60.0, 250.0, 1000.0, 4000.0)
MOST_NEARBY = 25
MOST_EMPTY = 10


@dataclass(frozen=True)
class Here:
    """Where a person stands, and how far out that may be."""

    latitude_deg: float
    longitude_deg: float
    accuracy_m: float | None


@dataclass(frozen=True)
class Near:
    """A sign or an empty place, and the way to it."""

    found: Any
    distance_m: float
    bearing_deg: float
    is_within_accuracy: bool


@dataclass(frozen=True)
class Nearby:
    """What is near a point: nearest first, from the smallest radius that holds enough."""

    signs: list[Near]
    empty_positions: list[Near]
    radius_m: float


def nearby(
    *,
    organisation: Organisation,
    latitude_deg: float,
    longitude_deg: float,
    accuracy_m: float | None = None,
    count: int = MOST_NEARBY,
) -> Nearby:
    """Return the nearest signs and empty places of an organisation, within 4 km."""
    here = Here(latitude_deg, longitude_deg, accuracy_m)
    standings = Standing.objects.owned_by(organisation)
    # No radius is smaller than what the position may be out by.
    radii = [r for r in SEARCH_RADII_M if r >= (accuracy_m or 0.0)] or SEARCH_RADII_M[-1:]
    for radius_m in radii:
        signs = _within(here, radius_m, standings, "", count)
        if len(signs) == count:
            break
    empty = Position.objects.owned_by(organisation).filter(
        ~Exists(Sign.objects.filter(position=OuterRef("pk"), state=Sign.State.INSTALLED)),
        is_retired=False,
    )
    return Nearby(
        signs=_with_rows(
            signs, standings.select_related("road", "sign__position"), "sign__colour_areas"
        ),
        empty_positions=_with_rows(
            _within(here, radius_m, empty, "support__", MOST_EMPTY),
            Position.objects.owned_by(organisation).select_related("support__road"),
        ),
        radius_m=radius_m,
    )


def find_signs(*, organisation: Organisation, text: str) -> Any:
    """Return the installed signs whose label is, code begins with, or road is named so."""
    wanted = text.strip()
    rows = (
        Standing.objects.owned_by(organisation)
        .select_related("road", "sign__position")
        .prefetch_related("sign__colour_areas")
        .order_by("sign_code", "sign")
    )
    if not wanted:
        return rows.none()
    roads = Road.objects.owned_by(organisation).filter(name__icontains=wanted)
    condition = Q(sign_code__istartswith=wanted) | Q(road__in=roads.values("pk"))
    try:
        condition |= Q(sign__label_id=read_label(wanted))
    except OutOfRangeError:
        # Not a label; it can still be a code or a road.
        condition |= Q(sign__label_id=wanted)
    return rows.filter(condition)


def _within(
    here: Here, radius_m: float, rows: ScopedQuerySet, path: str, count: int
) -> list[Near]:
    """Return the nearest rows within a circle, known by their keys only."""
    south, west, north, east = box_around(here.latitude_deg, here.longitude_deg, radius_m)
    in_cells = Q()
    for first, last in cell_ranges_of_box(south, west, north, east):
        in_cells |= Q(**{f"{path}cell__gte": first, f"{path}cell__lte": last})
    in_box = Q(
        **{
            f"{path}latitude_deg__gte": south,
            f"{path}latitude_deg__lte": north,
            f"{path}longitude_deg__gte": west,
            f"{path}longitude_deg__lte": east,
        }
    )
    points = list(
        rows.filter(in_cells, in_box)
        .order_by("pk")
        .values_list("pk", f"{path}latitude_deg", f"{path}longitude_deg")
    )
    if not points:
        return []
    keys, latitudes, longitudes = zip(*points, strict=True)
    indexes, metres = nearest(
        here.latitude_deg, here.longitude_deg, latitudes, longitudes, count
    )
    return [
        Near(
            found=keys[index],
            distance_m=float(distance),
            bearing_deg=float(
                bearing_deg(
                    here.latitude_deg, here.longitude_deg, latitudes[index], longitudes[index]
                )
            ),
            is_within_accuracy=here.accuracy_m is not None and distance <= here.accuracy_m,
        )
        for index, distance in zip(indexes, metres, strict=True)
        if distance <= radius_m
    ]


def _with_rows(found: list[Near], rows: ScopedQuerySet, *prefetch: str) -> list[Near]:
    """Return what was found with its rows in place of their keys."""
    by_key = rows.prefetch_related(*prefetch).in_bulk([near.found for near in found])
    return [replace(near, found=by_key[near.found]) for near in found]
