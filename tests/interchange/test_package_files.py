"""A package as files, read back by an outside reader (GDAL, through pyogrio)."""

from datetime import date
from typing import Any

import geojson
import pytest
from pyogrio.raw import read
from shapely import from_wkb

from inventory.interchange.package_files import package_geojson, package_gpx
from inventory.models import (
    Crew,
    Organisation,
    PackageStop,
    Position,
    Road,
    Sign,
    StopResult,
    Support,
    WorkPackage,
)


@pytest.fixture
def package():
    team = Crew(
        name="Sign crew",
        depot_name="North yard",
        depot_latitude_deg=43.0,
        depot_longitude_deg=-89.5,
    )
    return WorkPackage(
        pk=7,
        title="North, night 1",
        organisation=Organisation(time_zone="America/Chicago"),
        work_on=date(2026, 6, 2),
        team=team,
        leave_minute=1190,
        minutes=470,
        drive_mi=12.5,
        state="handed_out",
        bring="2 posts",
    )


def stop(number, longitude_deg, **fields):
    road = Road(name="CTH M")
    support = Support(latitude_deg=43.1, longitude_deg=longitude_deg, road=road, side="right")
    position = Position(pk=90 + number, support=support, sign_code="R1-1", variant="")
    made: Any = PackageStop(
        pk=number, number=number, position=position, task="replace", **fields
    )
    made.outcome, made.outcome_reason = None, None
    return made


def stops():
    first = stop(
        1,
        -89.40,
        arrive_minute=1205,
        service_minutes=25.0,
        note="park on the left",
        face=Sign(pk=5, label_id="SF-0012"),
    )
    second = stop(2, -89.30, arrive_minute=1500, face=Sign(pk=6))
    second.outcome, second.outcome_reason = StopResult.Outcome.NOT_DONE, "weather"
    return [first, second]


def layer(content, name, tmp_path, **which):
    path = tmp_path / name
    path.write_bytes(content)
    meta, _fids, geometry, fields = read(path, **which)
    columns = dict(zip(meta["fields"].tolist(), fields, strict=True))
    return columns, [each and from_wkb(each) for each in geometry]


def test_a_device_gets_the_route_from_the_yard_through_the_stops_and_back(package, tmp_path):
    content = package_gpx(package, stops())
    columns, points = layer(content, "tour.gpx", tmp_path, layer="waypoints")
    assert columns["name"].tolist() == [
        "Start: North yard",
        "1. R1-1",
        "2. R1-1",
        "Back: North yard",
    ]
    assert columns["desc"].tolist() == [
        "19:50",
        "replace the face; at 20:05; 25 min; bring face SF-0012; CTH M right; park on the left",
        "replace the face; at 01:00 the next day; bring face number 6; CTH M right",
        None,
    ]
    assert [each.x for each in points] == [-89.5, -89.40, -89.30, -89.5]


def test_a_map_gets_the_tour_as_a_line_and_each_stop_with_what_came_of_it(package, tmp_path):
    content = geojson.dumps(package_geojson(package, stops())).encode()
    columns, shapes = layer(content, "tour.geojson", tmp_path, datetime_as_string=True)
    assert columns["kind"].tolist() == ["tour", "start", "stop", "stop"]
    assert list(shapes[0].coords) == [
        (-89.5, 43.0),
        (-89.4, 43.1),
        (-89.3, 43.1),
        (-89.5, 43.0),
    ]
    assert columns["arrive_at"].tolist()[2:] == [
        "2026-06-02T20:05:00-05:00",
        "2026-06-03T01:00:00-05:00",
    ]
    assert columns["face_to_bring"].tolist()[2:] == ["SF-0012", "number 6"]
    assert columns["outcome_reason"].tolist()[2:] == [None, "weather"]
    assert columns["drive_mi"].tolist()[0] == 12.5


def test_a_package_put_together_by_hand_has_no_times_and_no_yard(package):
    package.team = package.leave_minute = None
    found = package_geojson(package, [stop(1, -89.4)])
    tour, only = found["features"]
    assert tour["geometry"] is None  # one place makes no line
    assert only["properties"]["arrive_at"] is None
    assert only["properties"]["service_minutes"] is None
    assert found.is_valid
