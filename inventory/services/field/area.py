"""The signs of an area as a phone carries them, a page of supports at a time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Max, Min

from inventory.engineering.places.distance import within_distance
from inventory.engineering.places.surroundings import box_around
from inventory.engineering.programme.tour_parts import clock_words
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import PackageStop, Position, Road, Sign, Support, WorkPackage
from inventory.services.field.carried_faces import CarriedFaces
from inventory.services.field.signs import carry_positions, carry_signs
from inventory.services.own_levels import rules_on
from inventory.services.sign_map import Box, in_box
from inventory.services.standards import code_book
from inventory.services.standing import policy_or_none
from inventory.services.work_packages import with_outcome

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import Organisation, ScopedQuerySet

SUPPORTS_PER_PAGE = 500
MOST_SUPPORTS = 20_000
MOST_LOOKED_AT = 200_000  # supports between the stops of a package that lie far apart
NEAR_STOP_M = 250.0  # what stands around a stop is taken along: crews find more to do there


@dataclass(frozen=True)
class PageOfSupports:
    """Which supports are on a page, and how many pages there are."""

    ids: list[int]
    page: int
    pages: int
    support_count: int


def supports_in_box(*, organisation: Organisation, box: Box, page: int) -> PageOfSupports:
    """Return a page of the supports in a box, in the order of their cells."""
    rows = in_box(Support.objects.owned_by(organisation), box)
    count = rows.count()
    _check_count(count, "this area", "choose a smaller part of the map")
    first = (page - 1) * SUPPORTS_PER_PAGE
    ids = rows.order_by("cell", "pk").values_list("pk", flat=True)
    return _page(list(ids[first : first + SUPPORTS_PER_PAGE]), page, count)


def supports_of_package(*, package: WorkPackage, page: int) -> PageOfSupports:
    """Return a page of the supports of a package's stops and of those near them."""
    if package.state != WorkPackage.State.HANDED_OUT:
        msg = (
            f"The package '{package.title}' is {package.get_state_display()}; only one that "
            "is with a crew can be taken along."
        )
        raise StateConflictError(msg)
    stops = package.stops.order_by("number").values_list(
        "position__support__latitude_deg", "position__support__longitude_deg"
    )
    points = list(stops)
    if not points:
        return _page([], page, 0)
    rows = list(
        in_box(Support.objects.owned_by(package.organisation), _box_around_all(points))
        .order_by("cell", "pk")
        .values_list("pk", "latitude_deg", "longitude_deg")[: MOST_LOOKED_AT + 1]
    )
    if len(rows) > MOST_LOOKED_AT:
        msg = (
            f"Over {MOST_LOOKED_AT:,} supports lie between the stops of '{package.title}'; "
            "split it into packages whose stops lie closer together."
        )
        raise OutOfRangeError(msg)
    keys, latitudes, longitudes = zip(*rows, strict=True)
    stop_latitudes, stop_longitudes = zip(*points, strict=True)
    near = within_distance(latitudes, longitudes, stop_latitudes, stop_longitudes, NEAR_STOP_M)
    chosen = [key for key, is_near in zip(keys, near.tolist(), strict=True) if is_near]
    _check_count(len(chosen), f"the package '{package.title}'", "split it in two")
    first = (page - 1) * SUPPORTS_PER_PAGE
    return _page(chosen[first : first + SUPPORTS_PER_PAGE], page, len(chosen))


def carry_page(
    *, organisation: Organisation, asked: PageOfSupports, now: datetime
) -> dict[str, Any]:
    """Return everything a phone carries of a page of supports; a fixed number of queries."""
    supports = _supports_with_roads(organisation, asked.ids)
    stops = _stops_at(organisation, list(supports))
    positions = _positions_at(organisation, supports, {each.position_id for each in stops})
    signs = _installed_at(organisation, positions)
    policy, book = policy_or_none(organisation, now), code_book(organisation)
    rules = rules_on(policy, organisation.day_of(now)) if policy is not None else None
    faces = CarriedFaces(rules)
    carried_signs = carry_signs(organisation, signs, book, faces)
    return {
        "page": asked.page,
        "pages": asked.pages,
        "support_count": asked.support_count,
        "near_stop_m": NEAR_STOP_M,
        "supports": [_support(each) for each in supports.values()],
        "positions": carry_positions(organisation, positions, signs, book, faces),
        "signs": carried_signs,
        "stops": [_stop(each) for each in stops],
        "plans": faces.plans,
        "drawings": faces.drawings,
        "roads": [_road(each) for each in _roads_of(supports.values())],
    }


def bounds_of(stops: ScopedQuerySet) -> dict[int, dict[str, float]]:
    """Return the box around the stops of each package, by package, in one query."""
    rows = (
        stops.order_by()
        .values("package")
        .annotate(
            south_deg=Min("position__support__latitude_deg"),
            west_deg=Min("position__support__longitude_deg"),
            north_deg=Max("position__support__latitude_deg"),
            east_deg=Max("position__support__longitude_deg"),
        )
    )
    return {row.pop("package"): row for row in rows}


def _page(ids: list[int], page: int, count: int) -> PageOfSupports:
    pages = max(1, -(-count // SUPPORTS_PER_PAGE))
    if page > pages:
        msg = f"There is no page {page}; this area has {pages}. Start again at page 1."
        raise OutOfRangeError(msg)
    return PageOfSupports(ids, page, pages, count)


def _check_count(count: int, what: str, do: str) -> None:
    if count > MOST_SUPPORTS:
        msg = (
            f"There are {count:,} supports in {what}, more than the {MOST_SUPPORTS:,} a phone "
            f"takes along; {do}."
        )
        raise OutOfRangeError(msg)


def _box_around_all(points: Sequence[tuple[float, float]]) -> Box:
    edges = [box_around(latitude, longitude, NEAR_STOP_M) for latitude, longitude in points]
    south, west, north, east = zip(*edges, strict=True)
    return Box(min(south), min(west), max(north), max(east))


def _supports_with_roads(organisation: Organisation, ids: list[int]) -> dict[int, Support]:
    """Return supports in the order of their cells, each road read once: its line is long."""
    rows = Support.objects.owned_by(organisation).filter(pk__in=ids)
    supports = {each.pk: each for each in rows.order_by("cell", "pk")}
    roads = Road.objects.in_bulk({each.road_id for each in supports.values() if each.road_id})
    for each in supports.values():
        each.road = roads.get(each.road_id)
    return supports


def _stops_at(organisation: Organisation, support_ids: list[int]) -> list[PackageStop]:
    """Return the stops at these supports of packages that are with a crew."""
    stops = PackageStop.objects.owned_by(organisation).filter(
        package__state=WorkPackage.State.HANDED_OUT, position__support__in=support_ids
    )
    rows = with_outcome(stops).select_related("face").order_by("package", "number")
    return list(rows)


def _positions_at(
    organisation: Organisation, supports: dict[int, Support], with_stop: set[int]
) -> list[Position]:
    """Return the places on these supports, retired ones only where a stop is at them."""
    rows = Position.objects.owned_by(organisation).filter(support__in=list(supports))
    positions = []
    for each in rows.order_by("support", "order_on_support", "pk"):
        if each.is_retired and each.pk not in with_stop:
            continue
        each.support = supports[each.support_id]
        positions.append(each)
    return positions


def _installed_at(organisation: Organisation, positions: list[Position]) -> list[Sign]:
    by_key = {each.pk: each for each in positions}
    signs = list(
        Sign.objects.owned_by(organisation)
        .filter(position__in=list(by_key), state=Sign.State.INSTALLED)
        .prefetch_related("colour_areas")
        .order_by("pk")
    )
    for each in signs:
        each.position = by_key[each.position_id]
    return signs


def _roads_of(supports: Any) -> list[Road]:
    return list({each.road.pk: each.road for each in supports if each.road}.values())


def _support(support: Support) -> dict[str, Any]:
    return {
        "id": support.pk,
        "latitude_deg": support.latitude_deg,
        "longitude_deg": support.longitude_deg,
        "accuracy_m": support.accuracy_m,
        "road_id": support.road_id,
        "road": support.road.name if support.road else "",
        "side": support.side,
        "support_type": support.support_type,
        "key": support.external_key,
    }


def _stop(stop: Any) -> dict[str, Any]:
    return {
        "id": stop.pk,
        "package_id": stop.package_id,
        "number": stop.number,
        "position_id": stop.position_id,
        "task": stop.task,
        "task_words": stop.get_task_display(),
        "note": stop.note,
        "outcome": stop.outcome,
        "outcome_reason": stop.outcome_reason or "",
        "arrive_at": None if stop.arrive_minute is None else clock_words(stop.arrive_minute),
        "service_minutes": stop.service_minutes,
        "is_added": stop.added_by_id is not None or stop.added_uuid is not None,
        "face": None if stop.face is None else _face_to_bring(stop),
    }


def _face_to_bring(stop: Any) -> dict[str, Any]:
    """Return the face meant for a stop; it may have gone elsewhere since it was planned."""
    face = stop.face
    is_here = face.state == Sign.State.INSTALLED and face.position_id == stop.position_id
    return {
        "id": face.pk,
        "label": face.label_id or "",
        "code": face.sign_code,
        "variant": face.variant,
        "is_in_stock": face.state == Sign.State.IN_STOCK,
        "is_up_here": is_here,
    }


def _road(road: Road) -> dict[str, Any]:
    return {
        "id": road.pk,
        "name": road.name,
        "road_class": road.road_class,
        "line": road.line,
    }
