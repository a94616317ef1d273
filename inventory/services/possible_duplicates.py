"""Signs on record that may be one and the same: what stands near a sign."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Q

from inventory.engineering.places import bearing_deg, cell_ranges_of_box, distance_m
from inventory.engineering.places.surroundings import box_around
from inventory.models import Sign, Standing
from inventory.units import METRES_PER_FOOT

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import Organisation

# A phone's fix beside a post is off by several metres, and so may be the point on record.
# Common practice, no source.
NEAR_M = 100 * METRES_PER_FOOT


@dataclass(frozen=True)
class Neighbour:
    """A sign that stands near another one."""

    sign: Sign
    distance_m: float
    bearing_deg: float
    is_same_code: bool


def neighbours_of(
    signs: Sequence[Sign], organisation: Organisation, within_m: float = NEAR_M
) -> dict[int, list[Neighbour]]:
    """
    Return what stands near each sign: those of its own code first, then the nearest.

    A sign that is not installed is looked for where it stood. The number of queries does not
    grow with the number of signs.
    """
    places = {
        sign.pk: (sign.position.support.latitude_deg, sign.position.support.longitude_deg)
        for sign in signs
        if sign.position is not None
    }
    near = Q()
    for point in places.values():
        box = box_around(*point, within_m)
        south, west, north, east = box
        in_cells = Q()
        for first, last in cell_ranges_of_box(*box):
            in_cells |= Q(cell__range=(first, last))
        near |= in_cells & Q(
            latitude_deg__range=(south, north), longitude_deg__range=(west, east)
        )
    if not places:
        return {sign.pk: [] for sign in signs}
    standings = list(
        Standing.objects.owned_by(organisation)
        .filter(near)
        .select_related("road", "sign__position__support")
        .prefetch_related("sign__colour_areas")
        .order_by("sign")
    )
    found: dict[int, list[Neighbour]] = {sign.pk: [] for sign in signs}
    for sign in signs:
        if sign.pk not in places:
            continue
        here = places[sign.pk]
        for standing in standings:
            there = (standing.latitude_deg, standing.longitude_deg)
            metres = float(distance_m(*here, *there))
            if standing.sign_id == sign.pk or metres > within_m:
                continue
            found[sign.pk].append(
                Neighbour(
                    sign=standing.sign,
                    distance_m=metres,
                    bearing_deg=float(bearing_deg(*here, *there)),
                    is_same_code=bool(sign.sign_code)
                    and standing.sign.sign_code == sign.sign_code,
                )
            )
        found[sign.pk].sort(key=lambda each: (not each.is_same_code, each.distance_m))
    return found
