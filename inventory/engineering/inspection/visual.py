"""Ratings by night: whether the evidence that a procedure asks for is all there."""

from collections.abc import Mapping
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import Any

from inventory.engineering.standards.night_procedures import (
    EvidenceItem,
    EvidenceKind,
    NightProcedure,
    evidence_items,
)
from inventory.errors import OutOfRangeError

COLORS_KEY = "colors"
_ONE_NIGHT = timedelta(days=1)  # after midnight it is still the night of the evening before


def check_evidence(
    procedure: str,
    evidence: Mapping[str, Any],
    *,
    seen_on: date | None = None,
    levels: Mapping[str, Decimal] | None = None,
) -> None:
    """
    Refuse a rating by night whose evidence is not all there.

    Parameters
    ----------
    procedure : str
        One of :class:`~inventory.engineering.standards.night_procedures.NightProcedure`.
    evidence : mapping
        What was stated, by the keys of the procedure's table. What is stated for each colour
        stands in a list under ``"colors"``, each with its ``"color"``. Dates are texts such as
        ``"2026-11-25"``; numbers are numbers or their text.
    seen_on : date, optional
        Day on which the sign was rated; what has to be done the same night is held against it.
    levels : mapping of str to Decimal, optional
        The level of each colour, where it is known: a panel has to reach it. [cd/lx/m²]

    Raises
    ------
    OutOfRangeError
        If the procedure is none, or a piece of evidence is missing, is not asked for, or is
        outside the procedure's bound.

    References
    ----------
    .. [1] The table of night procedures, each row with its source and whether it was checked.

    Examples
    --------
    >>> check_evidence("consistent_parameters", {
    ...     "inspector_age_years": 57, "vehicle_kind": "SUV",
    ...     "vehicle_model_year": 2015, "low_beams_aimed": True,
    ... })
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: The inspector's age is 57 years; the consistent parameters
    procedure asks for 60 years or more. Let another inspector rate the sign, or use another
    procedure.
    """
    asked = _procedure(procedure)
    items = evidence_items(asked)
    for_all = [item for item in items if not item.per_color]
    for_each = [item for item in items if item.per_color]
    known = {item.key for item in for_all} | ({COLORS_KEY} if for_each else set())
    _refuse_others(set(evidence) - known, known, asked)
    for color, stated in _colors(evidence, asked) if for_each else ():
        keys = {item.key for item in for_each} | {"color"}
        _refuse_others(set(stated) - keys, keys, asked)
        for item in for_each:
            _check(item, stated.get(item.key), asked, f" for {color}", seen_on)
            if item.must_reach_level and levels and color in levels:
                _check_reaches(item, stated[item.key], color, levels[color])
    for item in for_all:
        _check(item, evidence.get(item.key), asked, "", seen_on)


def _procedure(procedure: str) -> NightProcedure:
    try:
        return NightProcedure(procedure)
    except ValueError:
        known = ", ".join(each.value for each in NightProcedure)
        msg = f"'{procedure}' is no procedure of looking by night; use one of {known}."
        raise OutOfRangeError(msg) from None


def _refuse_others(others: set[str], known: set[str], procedure: NightProcedure) -> None:
    if others:
        msg = (
            f"The {procedure.words} procedure does not ask for '{min(others)}'; it asks for "
            f"{', '.join(sorted(known))}."
        )
        raise OutOfRangeError(msg)


def _colors(
    evidence: Mapping[str, Any], procedure: NightProcedure
) -> list[tuple[str, Mapping[str, Any]]]:
    """Return what was stated for each colour."""
    stated = evidence.get(COLORS_KEY)
    if not isinstance(stated, list) or not stated:
        msg = (
            f"The {procedure.words} procedure compares colour by colour; state at least one "
            f"colour under '{COLORS_KEY}'."
        )
        raise OutOfRangeError(msg)
    found: dict[str, Mapping[str, Any]] = {}
    for each in stated:
        color = each.get("color") if isinstance(each, Mapping) else None
        if not isinstance(color, str) or not color:
            msg = f"An entry under '{COLORS_KEY}' does not say which colour it is; name it."
            raise OutOfRangeError(msg)
        if color in found:
            msg = f"The colour {color} is stated twice under '{COLORS_KEY}'; state it once."
            raise OutOfRangeError(msg)
        found[color] = each
    return list(found.items())


def _check(
    item: EvidenceItem,
    value: Any,
    procedure: NightProcedure,
    where: str,
    seen_on: date | None,
) -> None:
    """Refuse one piece of evidence that is missing or outside its bound."""
    if item.kind is EvidenceKind.CONFIRM:
        if value is not True:
            msg = (
                f"The {procedure.words} procedure asks that {item.label}; confirm it, or do "
                "not rate the sign by this procedure."
            )
            raise OutOfRangeError(msg)
        return
    if value is None or str(value).strip() == "":
        msg = f"The {procedure.words} procedure asks for {item.label}{where}; state it."
        raise OutOfRangeError(msg)
    if item.kind is EvidenceKind.NUMBER:
        _check_number(item, value, procedure, where)
    elif item.kind is EvidenceKind.DATE:
        _check_date(item, value, where, seen_on)
    elif item.kind is EvidenceKind.CHOICE and value not in item.choices:
        msg = (
            f"{_start(item.label)} is '{value}'; the {procedure.words} procedure asks for "
            f"{' or '.join(item.choices)}."
        )
        raise OutOfRangeError(msg)


def _check_number(
    item: EvidenceItem, value: Any, procedure: NightProcedure, where: str
) -> None:
    number = _number(item, value, where)
    said = f"{_start(item.label)}{where} is {number:f}{_unit(item)}"
    if item.exact is not None and number != item.exact:
        msg = (
            f"{said}; the {procedure.words} procedure is for {item.exact:f}{_unit(item)}. View "
            "the sign again from there, or use another procedure."
        )
        raise OutOfRangeError(msg)
    if item.minimum is not None and number < item.minimum:
        other = "inspector rate the sign" if "inspector" in item.key else "vehicle be used"
        msg = (
            f"{said}; the {procedure.words} procedure asks for {item.minimum:f}{_unit(item)} "
            f"or more. Let another {other}, or use another procedure."
        )
        raise OutOfRangeError(msg)
    if number <= 0:
        msg = f"{said}; it has to be over 0."
        raise OutOfRangeError(msg)


def _number(item: EvidenceItem, value: Any, where: str) -> Decimal:
    try:
        number = Decimal("NaN") if isinstance(value, bool) else Decimal(str(value).strip())
    except InvalidOperation:
        number = Decimal("NaN")
    if not number.is_finite():
        msg = f"'{value}' is not a number ({item.label}{where}); write it in figures."
        raise OutOfRangeError(msg)
    return number


def _check_date(item: EvidenceItem, value: Any, where: str, seen_on: date | None) -> None:
    try:
        day = date.fromisoformat(str(value))
    except ValueError:
        msg = (
            f"'{value}' is not a calendar date ({item.label}{where}); write it like 2026-11-25."
        )
        raise OutOfRangeError(msg) from None
    if seen_on is None:
        return
    if item.must_be_same_night and day not in (seen_on, seen_on - _ONE_NIGHT):
        msg = (
            f"{_start(item.label)} is {day:%Y-%m-%d}, but the sign was rated on "
            f"{seen_on:%Y-%m-%d}; they have to be viewed the same night. View them again."
        )
        raise OutOfRangeError(msg)
    if day > seen_on:
        msg = (
            f"{_start(item.label)}{where} is {day:%Y-%m-%d}, after the sign was rated on "
            f"{seen_on:%Y-%m-%d}; correct the date."
        )
        raise OutOfRangeError(msg)


def _check_reaches(item: EvidenceItem, value: Any, color: str, level: Decimal) -> None:
    number = _number(item, value, f" for {color}")
    if number < level:
        msg = (
            f"The panel for {color} is at {number:f} cd/lx/m², below the level of "
            f"{level.normalize():f}; a sign as bright as it could still be below. Use a panel "
            "at or just above the level."
        )
        raise OutOfRangeError(msg)


def _start(label: str) -> str:
    return label[0].upper() + label[1:]


def _unit(item: EvidenceItem) -> str:
    return f" {item.unit}" if item.unit else ""
