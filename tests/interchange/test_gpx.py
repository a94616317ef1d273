"""A tour as GPX: read back by an outside reader (GDAL's GPX driver, through pyogrio)."""

from xml.etree.ElementTree import fromstring

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyogrio.raw import read

from inventory.errors import OutOfRangeError
from inventory.interchange.gpx import NAMESPACE, RoutePoint, write_gpx

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


@pytest.mark.parametrize(
    "name",
    ["with \x00 a null", "U+FFFE \ufffe", "U+FFFF \uffff", "half a pair \ud83d", "plain"],
)
def test_what_xml_cannot_hold_is_left_out(name, tmp_path):
    path = tmp_path / "tour.gpx"
    path.write_bytes(write_gpx(name, POINTS))
    meta, *_rest = read(path, layer="routes")
    assert meta["fields"] is not None


def parsed(content):
    """Return names of the way points, and their places, by a parser of XML."""
    root = fromstring(content.decode())  # noqa: S314  # our own file
    points = root.findall(f"{{{NAMESPACE}}}wpt")
    names = [each.findtext(f"{{{NAMESPACE}}}name") or "" for each in points]
    return names, [(each.get("lat"), each.get("lon")) for each in points]


any_text = st.text(st.characters(codec=None), max_size=12) | st.sampled_from(
    ["\ud800", "\udfff", "\ufffe", "\uffff", "\x0b", "\x7f", "\U0001f6d1", "]]>", "&<>\"'"]
)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(any_text)
def test_every_name_makes_a_file_that_a_parser_reads(name):
    names, _places = parsed(write_gpx(name, [RoutePoint(43.0, -89.0, name, name)]))
    kept = "".join(
        each
        for each in name
        if each in "\t\n\r"
        or " " <= each <= "\ud7ff"
        or "\ue000" <= each <= "\ufffd"
        or each >= "\U00010000"
    )
    # A parser gives every kind of line end back as one (XML 1.0, 2.11).
    assert names == [kept.replace("\r\n", "\n").replace("\r", "\n")]


def test_the_date_line_is_written_as_the_schema_has_it():
    # GPX 1.1: longitudes are from -180 up to but not with 180.
    _names, places = parsed(write_gpx("x", [RoutePoint(0.0, 180.0, "a")]))
    assert places == [("0.0000000", "-180.0000000")]


@pytest.mark.parametrize("place", [(float("nan"), 0.0), (91.0, 0.0), (0.0, float("inf"))])
def test_a_place_that_is_none_is_refused_by_name(place):
    with pytest.raises(OutOfRangeError, match=r"The point '7\. R1-1' is at"):
        write_gpx("x", [RoutePoint(place[0], place[1], "7. R1-1")])
