"""
The mapping of a list: which of its columns say what, and what its words mean.

A mapping is a TOML file written by the person who knows the list;
``docs/how-to/import-a-sign-list.md`` is its reference. This module holds what a mapping says
once it is read, and what our own words may be; ``mapping_reader`` reads it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.engineering.standards.sheeting import read_sheeting_type, sheeting_classes
from inventory.engineering.standards.vocabulary import Optics
from inventory.errors import NoPublishedValueError, OutOfRangeError
from inventory.interchange.mapping_table import nearest
from inventory.models import Observation

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import tzinfo

    from inventory.interchange.facings import Convention
    from inventory.interchange.points import Projector
    from inventory.interchange.sizes import SizeOrder
    from inventory.interchange.texts import NumberFormat
    from inventory.services.importing.rows import SourceField

UNKNOWN = "unknown"
REFUSE = "refuse"


@dataclass(frozen=True, slots=True)
class WordsRule:
    """A column whose words are translated, and what happens to the others."""

    column: str
    values: dict[str, Any]
    unknown_values: frozenset[str]
    is_refused_when_unknown: bool = False
    is_passed_through: bool = False  # a word without a translation is taken as it stands
    default: Any = None
    basis: str = ""


@dataclass(frozen=True, slots=True)
class NumberRule:
    """A column of numbers, and the unit they are in."""

    column: str
    unit: str
    unknown_values: frozenset[str]


@dataclass(frozen=True, slots=True)
class DateRule:
    """A column of dates, and how they are written."""

    column: str
    formats: tuple[str, ...]
    values: dict[str, str | None]
    unknown_values: frozenset[str]


@dataclass(frozen=True, slots=True)
class SizeRule:
    """One column of size texts, or one for the width and one for the height."""

    column: str
    width_column: str
    height_column: str
    unit: str
    order: SizeOrder
    is_single_square: bool
    values: dict[str, str]
    unknown_values: frozenset[str]


@dataclass(frozen=True, slots=True)
class FacingRule:
    """A column of directions, and what they are about."""

    column: str
    convention: Convention
    values: dict[str, str]
    unknown_values: frozenset[str]


@dataclass(frozen=True, slots=True)
class ConditionRule:
    """A column of earlier judgements, and the day they were made."""

    column: str
    values: dict[str, tuple[str, int] | None]
    date: DateRule
    unknown_values: frozenset[str]


@dataclass(frozen=True, slots=True)
class PointRule:
    """Where the coordinates are."""

    projector: Projector
    x_column: str = ""
    y_column: str = ""
    text_column: str = ""
    is_latitude_first: bool = False
    is_geometry: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ListMapping:
    """What a list's columns and words mean, checked against the file."""

    list_name: str
    id_columns: tuple[str, ...]
    numbers: NumberFormat
    zone: tzinfo
    point: PointRule
    support_key: WordsRule | None
    grouping_m: float | None
    same_place_m: float
    is_key_trusted: bool
    words: dict[SourceField, WordsRule] = field(default_factory=dict)
    quantities: dict[SourceField, NumberRule] = field(default_factory=dict)
    dates: dict[SourceField, DateRule] = field(default_factory=dict)
    size: SizeRule | None = None
    facing: FacingRule | None = None
    condition: ConditionRule | None = None
    changed: DateRule | None = None
    is_mount_from_support: bool = False

    def bases(self) -> list[str]:
        """Return what is taken for granted, and why."""
        return [
            f"{name} is taken as '{_shown(rule.default)}' where the list says nothing, "
            f"because: {rule.basis}"
            for name, rule in self.words.items()
            if rule.default is not None
        ]


def _shown(target: Any) -> str:
    return " ".join(filter(None, target)) if isinstance(target, list) else str(target)


# What our words may be ----------------------------------------------------------------------


def one_of(allowed: tuple[str, ...]) -> Callable[[Any], Any]:
    """Return a reader of targets that takes only these words, and ``unknown`` as ``None``."""

    def read(target: Any) -> str | None:
        if target == UNKNOWN:
            return None
        if target not in allowed:
            hint = nearest(str(target), allowed)
            msg = f"is not a word of ours{hint}; or use 'unknown'."
            raise ValueError(msg)
        return str(target)

    return read


def text_up_to(length: int) -> Callable[[Any], Any]:
    """Return a reader of targets that takes texts of some length, ``unknown`` as ``None``."""

    def read(target: Any) -> str | None:
        if not isinstance(target, str) or len(target.strip()) > length:
            msg = f"must be a text of at most {length} characters."
            raise ValueError(msg)
        return None if target == UNKNOWN else target.strip()

    return read


def read_sheeting_target(target: Any) -> list[str] | None:
    """
    Return type and optics of a translation of a sheeting word, or ``None`` for unknown.

    Raises
    ------
    ValueError
        If the target is no type of ASTM D4956, or a type that does not come with those optics.
    """
    if target == UNKNOWN:
        return None
    if not isinstance(target, dict) or not target or set(target) - {"type", "optics"}:
        msg = (
            'must be "unknown" or { type = "IV", optics = "prismatic" }, either part alone too.'
        )
        raise ValueError(msg)
    optics_words = [each.value for each in Optics]
    optics = target.get("optics", Optics.UNKNOWN.value)
    if optics not in optics_words:
        msg = f"optics must be one of {', '.join(optics_words)}."
        raise ValueError(msg)
    numeral = target.get("type", UNKNOWN)
    if numeral == UNKNOWN:
        return ["", optics] if optics != Optics.UNKNOWN.value else None
    try:
        sheeting_type = read_sheeting_type(str(numeral))
        sheeting_classes(sheeting_type.value, Optics(optics))
    except (OutOfRangeError, NoPublishedValueError) as error:
        raise ValueError(str(error)) from None
    return [sheeting_type.value, optics]


def read_condition_target(target: Any) -> tuple[str, int] | None:
    """
    Return kind and severity of an observation, or ``None`` for a word that says nothing.

    Raises
    ------
    ValueError
        If the target is neither.
    """
    severities = {each.name.lower(): each.value for each in Observation.Severity}
    if target == UNKNOWN:
        return None
    if target == "sound":
        return Observation.Kind.GENERAL.value, Observation.Severity.NONE.value
    if not isinstance(target, dict) or set(target) != {"kind", "severity"}:
        msg = 'must be "sound", "unknown" or { kind = "bent", severity = "moderate" }.'
        raise ValueError(msg)
    if target["kind"] not in Observation.Kind.values:
        msg = f"kind must be one of {', '.join(Observation.Kind.values)}."
        raise ValueError(msg)
    if target["severity"] not in severities:
        msg = f"severity must be one of {', '.join(severities)}."
        raise ValueError(msg)
    return target["kind"], severities[target["severity"]]
