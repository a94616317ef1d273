"""The values of a list's fields in words, with their units."""

from __future__ import annotations

from typing import Any

from inventory.models import Observation
from inventory.services.importing.rows import SourceField

NOT_KNOWN = "not known"
UNKNOWN_PARTS = ("", "unknown")  # of a sheeting's type and optics
DATES = (SourceField.FABRICATED, SourceField.INSTALLED, SourceField.REMOVED)
ISO_LENGTHS = {"year": 4, "month": 7, "day": 10}  # characters of an ISO date that are known
UNITS: dict[str, str] = {SourceField.MOUNTING_HEIGHT: " in", SourceField.MILEPOINT: " mi"}


def value_words(field: str, value: Any) -> str:
    """Return the value of a field as a person reads it; a blank is not known."""
    if value in (None, "", []):
        return NOT_KNOWN
    if field == SourceField.SIZES:
        return ", ".join(_size(*face) for face in value)
    if field == SourceField.FACING:
        return f"{value:g}°"
    if field == SourceField.POINT:
        return f"{value[0]}, {value[1]}"
    if field in DATES:
        day, precision = value
        return str(day[: ISO_LENGTHS[precision]])
    if field == SourceField.SHEETING:
        return ", ".join(part for part in value if part not in UNKNOWN_PARTS) or NOT_KNOWN
    if field == SourceField.CONDITION:
        day, kind, severity, word = value
        label = Observation.Kind(kind).label
        return f"{label}, {Observation.Severity(severity).name.lower()} on {day} ('{word}')"
    if isinstance(value, list):
        joint = ", " if any(isinstance(each, list) for each in value) else " "
        return joint.join(value_words("", each) for each in value)
    if field in UNITS:
        return f"{value:g}{UNITS[field]}"
    return str(value)


def _size(width_in: float | None, height_in: float | None) -> str:
    if width_in is None or height_in is None:
        sides = (("width", width_in), ("height", height_in))
        return " ".join(f"{name} {_inches(side)}" for name, side in sides)
    return f"{width_in:g} × {height_in:g} in"


def _inches(side_in: float | None) -> str:
    return NOT_KNOWN if side_in is None else f"{side_in:g} in"
