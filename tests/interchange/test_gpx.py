"""A tour as GPX: read back by an outside reader (GDAL's GPX driver, through pyogrio)."""

import pytest
from pyogrio.raw import read

from inventory.interchange.gpx import RoutePoint, write_gpx

POINTS = [
    RoutePoint(43.1234567, -89.5, "1. R1-1 <Stop> & plaque", "replace the face"),
    RoutePoint(43.2, -89.6, "2. W1-2"),
]


def test_a_gis_reads_the_stops_with_their_names_and_what_to_do(tmp_path):
    path = tmp_path / "tour.gpx"
    path.write_bytes(write_gpx("North, day 1", POINTS))
    meta, _fids, geometry, fields = read(path, layer="waypoints")
    columns = dict(zip(meta["fields"].tolist(), fields, strict=True))
    assert columns["name"].tolist() == ["1. R1-1 <Stop> & plaque", "2. W1-2"]
    assert columns["desc"].tolist() == ["replace the face", None]
    assert len(geometry) == 2


def test_the_route_keeps_the_order_of_the_stops(tmp_path):
    path = tmp_path / "tour.gpx"
    path.write_bytes(write_gpx("North", POINTS))
    _meta, _fids, geometry, _fields = read(path, layer="route_points")
    assert len(geometry) == 2


@pytest.mark.parametrize("name", ["with \x00 a null", "plain"])
def test_what_xml_cannot_hold_is_left_out(name, tmp_path):
    path = tmp_path / "tour.gpx"
    path.write_bytes(write_gpx(name, POINTS))
    meta, *_rest = read(path, layer="routes")
    assert meta["fields"] is not None
