"""A tour as a GPX 1.1 file (Topografix schema, an open format) for any device that reads it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Sequence

NAMESPACE = "http://www.topografix.com/GPX/1/1"
MOST_LATITUDE_DEG, MOST_LONGITUDE_DEG = 90.0, 180.0
# XML 1.0 (fifth edition), production 2, Char: all else may not be in a document at all.
_NOT_IN_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True, slots=True)
class RoutePoint:
    """A stop on the way: where, what it is called, and what is to be done there."""

    latitude_deg: float
    longitude_deg: float
    name: str
    text: str = ""


def write_gpx(name: str, points: Sequence[RoutePoint]) -> bytes:
    """
    Return a route through the points in their order, with a way point for each.

    What XML cannot hold (control characters, lone surrogates, U+FFFE) is left out of the words.
    """
    root = Element("gpx", {"version": "1.1", "creator": "signfleet", "xmlns": NAMESPACE})
    SubElement(SubElement(root, "metadata"), "name").text = _clean(name)
    for point in points:
        _point(root, "wpt", point)
    route = SubElement(root, "rte")
    SubElement(route, "name").text = _clean(name)
    for point in points:
        _point(route, "rtept", point)
    indent(root)
    text: str = tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()


def _point(parent: Element, kind: str, point: RoutePoint) -> None:
    latitude, longitude = point.latitude_deg, point.longitude_deg
    is_on_globe = abs(latitude) <= MOST_LATITUDE_DEG and abs(longitude) <= MOST_LONGITUDE_DEG
    if not (is_on_globe and math.isfinite(latitude) and math.isfinite(longitude)):
        msg = (
            f"The point '{_clean(point.name)}' is at {latitude:g}°, {longitude:g}°; a latitude "
            "is from -90 to 90 and a longitude from -180 to 180."
        )
        raise OutOfRangeError(msg)
    # The schema's longitudes go from -180 to just under 180.
    east = f"{longitude:.7f}"
    place = {"lat": f"{latitude:.7f}", "lon": "-180.0000000" if east == "180.0000000" else east}
    made = SubElement(parent, kind, place)
    SubElement(made, "name").text = _clean(point.name)
    if point.text:
        SubElement(made, "desc").text = _clean(point.text)


def _clean(text: str) -> str:
    """Leave out what XML 1.0 cannot hold."""
    return _NOT_IN_XML.sub("", text)
