"""A work package as files: GPX for a device on the way, GeoJSON for somebody else's map."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import geojson

from inventory.engineering.programme.tour_parts import clock_words
from inventory.interchange.geojson_signs import COORDINATE_DECIMALS
from inventory.interchange.gpx import RoutePoint, write_gpx

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import WorkPackage

TOUR, START, STOP = "tour", "start", "stop"


def package_gpx(package: WorkPackage, stops: Sequence[Any]) -> bytes:
    """
    Return the stops of a package as a route in their order, from the crew's depot and back.

    ``stops`` come with their position, its support and road, their face and their outcome.
    """
    points = [
        RoutePoint(
            stop.position.support.latitude_deg,
            stop.position.support.longitude_deg,
            f"{stop.number}. {_code(stop) or 'sign of unknown code'}",
            _stop_words(stop),
        )
        for stop in stops
    ]
    depot = _depot(package)
    if depot is not None:
        name, latitude_deg, longitude_deg = depot
        leaving = "" if package.leave_minute is None else clock_words(package.leave_minute)
        there = RoutePoint(latitude_deg, longitude_deg, f"Start: {name}", leaving)
        back = RoutePoint(latitude_deg, longitude_deg, f"Back: {name}")
        points = [there, *points, back]
    return write_gpx(f"{package.title}, {package.work_on:%Y-%m-%d}", points)


def package_geojson(package: WorkPackage, stops: Sequence[Any]) -> geojson.FeatureCollection:
    """
    Return a package as features: the tour as a line in its order, the start, and each stop.

    RFC 7946. The line goes straight from place to place; it is no road. Unknown is ``null``.
    """
    features = [_stop_feature(package, stop) for stop in stops]
    through = [each.geometry["coordinates"] for each in features]
    depot = _depot(package)
    if depot is not None:
        name, latitude_deg, longitude_deg = depot
        start = _point(latitude_deg, longitude_deg)
        through = [start["coordinates"], *through, start["coordinates"]]
        properties = {"kind": START, "name": name}
        features.insert(0, geojson.Feature(id=START, geometry=start, properties=properties))
    line = geojson.LineString(through) if len(through) > 1 else None
    tour = geojson.Feature(
        id=TOUR,
        geometry=line,
        properties={
            "kind": TOUR,
            "package_id": package.pk,
            "title": package.title,
            "work_on": package.work_on.isoformat(),
            "crew": None if package.team is None else package.team.name,
            "state": package.state,
            "bring": package.bring,
            "leave_at": _moment(package, package.leave_minute),
            "minutes": package.minutes,
            "drive_mi": package.drive_mi,
            "line_is": "straight from place to place",
        },
    )
    return geojson.FeatureCollection([tour, *features])


def _stop_feature(package: WorkPackage, stop: Any) -> geojson.Feature:
    support = stop.position.support
    return geojson.Feature(
        id=f"{STOP}-{stop.pk}",
        geometry=_point(support.latitude_deg, support.longitude_deg),
        properties={
            "kind": STOP,
            "number": stop.number,
            "position_id": stop.position_id,
            "sign_code": _code(stop) or None,
            "road": support.road.name if support.road else None,
            "side": support.side or None,
            "task": stop.task,
            "task_words": stop.get_task_display(),
            "note": stop.note,
            "arrive_at": _moment(package, stop.arrive_minute),
            "service_minutes": stop.service_minutes,
            "face_to_bring": _face_words(stop),
            "outcome": stop.outcome,
            "outcome_reason": stop.outcome_reason or None,
        },
    )


def _moment(package: WorkPackage, minute: int | None) -> str | None:
    """Return a minute of the package's day as date and time by the agency's clock."""
    if minute is None:
        return None
    zone = ZoneInfo(package.organisation.time_zone)
    midnight = datetime.combine(package.work_on, time(), tzinfo=zone)
    return (midnight + timedelta(minutes=minute)).isoformat()


def _stop_words(stop: Any) -> str:
    """Return what is to be done at a stop, in the order in which a crew asks."""
    support, said = stop.position.support, [stop.get_task_display()]
    if stop.arrive_minute is not None:
        said.append(f"at {clock_words(stop.arrive_minute)}")
    if stop.service_minutes is not None:
        said.append(f"{stop.service_minutes:.0f} min")
    face = _face_words(stop)
    if face is not None:
        said.append(f"bring face {face}")
    if support.road:
        said.append(f"{support.road.name} {support.side}".strip())
    return "; ".join([*said, *([stop.note] if stop.note else [])])


def _face_words(stop: Any) -> str | None:
    return None if stop.face is None else stop.face.label_id or f"number {stop.face.pk}"


def _code(stop: Any) -> str:
    return f"{stop.position.sign_code}{stop.position.variant}"


def _depot(package: WorkPackage) -> tuple[str, float, float] | None:
    team = package.team
    if team is None:
        return None
    return team.depot_name, team.depot_latitude_deg, team.depot_longitude_deg


def _point(latitude_deg: float, longitude_deg: float) -> geojson.Point:
    return geojson.Point((longitude_deg, latitude_deg), precision=COORDINATE_DECIMALS)
