"""A tour as a GPX 1.1 file (Topografix schema, an open format) for any device that reads it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, indent, tostring

if TYPE_CHECKING:
    from collections.abc import Sequence

NAMESPACE = "http://www.topografix.com/GPX/1/1"


@dataclass(frozen=True, slots=True)
class RoutePoint:
    """A stop on the way: where, what it is called, and what is to be done there."""

    latitude_deg: float
    longitude_deg: float
    name: str
    text: str = ""


def write_gpx(name: str, points: Sequence[RoutePoint]) -> bytes:
    """Return a route through the points in their order, with a way point for each."""
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
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}'.encode()


def _point(parent: Element, kind: str, point: RoutePoint) -> None:
    place = {"lat": f"{point.latitude_deg:.7f}", "lon": f"{point.longitude_deg:.7f}"}
    made = SubElement(parent, kind, place)
    SubElement(made, "name").text = _clean(point.name)
    if point.text:
        SubElement(made, "desc").text = _clean(point.text)


def _clean(text: str) -> str:
    """Leave out what XML 1.0 cannot hold."""
    return "".join(each for each in text if each in "\t\n\r" or ord(each) >= 32)
