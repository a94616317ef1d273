"""Faces and readings for the tests of the verdict; each test names just what it needs."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from inventory.engineering.assessment.assess import ElementAssessment, FaceAssessment
from inventory.engineering.assessment.face import (
    Colouring,
    Face,
    FaceArea,
    Part,
    ReadingSet,
    Rules,
)
from inventory.engineering.standards.catalogue import find_sign_type
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    MountClass,
    Optics,
    SheetingClass,
)

DAY = datetime(2026, 5, 1, 9, 30, tzinfo=UTC)
RULES = Rules(Edition.MUTCD_11)
RULES_2009 = Rules(Edition.MUTCD_2009)

SHEETING_OF_CLASS = {
    SheetingClass.BEADED_I: ("I", Optics.BEADED),
    SheetingClass.BEADED_II: ("II", Optics.BEADED),
    SheetingClass.BEADED_III: ("III", Optics.BEADED),
    SheetingClass.PRISMATIC: ("IX", Optics.PRISMATIC),
}


def area(
    part: Part,
    color: Color,
    sheeting: tuple[str, Optics] = ("IX", Optics.PRISMATIC),
    colouring: Colouring = Colouring.SHEETING,
) -> FaceArea:
    return FaceArea(part, color, *sheeting, colouring)


def two_colors(
    background: Color,
    legend: Color,
    sheeting: tuple[str, Optics] = ("IX", Optics.PRISMATIC),
) -> tuple[FaceArea, ...]:
    return (area(Part.BACKGROUND, background, sheeting), area(Part.LEGEND, legend, sheeting))


def catalogued(code: str, **fields: Any) -> Face:
    """A catalogued sign on Type IX prismatic sheeting, 30 in by 30 in, on a post."""
    sign_type = find_sign_type(code)[0]
    defaults: dict[str, Any] = {
        "mount": MountClass.POST,
        "width_in": Decimal(30),
        "height_in": Decimal(30),
    }
    if "areas" not in fields:
        assert sign_type.background is not None
        assert sign_type.legend is not None
        defaults["areas"] = (
            *two_colors(sign_type.background, sign_type.legend),
            *(area(Part.SECONDARY, color) for color in sign_type.secondary),
        )
    return Face(sign_type, **defaults | fields)


def read(color: Color | str, *values: str, **fields: Any) -> ReadingSet:
    """One set of values; a single value stands for four equal ones."""
    typed = values if len(values) > 1 else values * 4
    defaults: dict[str, Any] = {
        "values": tuple(map(Decimal, typed)),
        "taken_at": DAY,
        "visit": 1,
    }
    return ReadingSet(Color(color), **defaults | fields)


def element(assessment: FaceAssessment, name: str) -> ElementAssessment:
    (found,) = (each for each in assessment.elements if each.color == name)
    return found


def verdicts(assessment: FaceAssessment) -> dict[str, str]:
    return {each.color: each.verdict.value for each in assessment.elements}
