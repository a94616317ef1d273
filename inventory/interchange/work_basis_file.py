"""What work costs and takes, read from a TOML or JSON file: the figures by their names."""

from __future__ import annotations

import difflib
import json
import math
import tomllib
from datetime import date
from typing import TYPE_CHECKING, Any

from inventory.engineering.standards.supports import support_types
from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from pathlib import Path

NUMBERS = (
    "face_price",
    "face_price_per_ft2",
    "crew_price_per_h",
    "face_hours",
    "face_hours_per_ft2",
    "support_hours",
    "stretch_hours",
    "stretch_mi",
    "read_minutes",
    "look_minutes",
    "detour_factor",
    "speed_mi_per_h",
)
TEXTS = ("basis", "currency")
DAY, LEAD, WEIGHTS, BY_SUPPORT = (
    "effective_on",
    "lead_days",
    "class_weights",
    "hours_by_support",
)
NAMES = (DAY, *TEXTS, *NUMBERS, LEAD, WEIGHTS, BY_SUPPORT)
MOST_BYTES = 100_000


def read_work_basis(path: Path) -> dict[str, Any]:
    """
    Return the figures of a file by their names; what it does not name is not there.

    Raises
    ------
    OutOfRangeError
        If there is no such file, it cannot be read, or a figure in it has an unknown name or
        the wrong kind of value.
    """
    found = _parsed(path)
    if not isinstance(found, dict):
        msg = f"{path.name} holds no figures by name; write lines such as face_price = 40.0."
        raise OutOfRangeError(msg)
    return {name: _checked(name, value, path.name) for name, value in found.items()}


def check_support_hours(hours: dict[str, Any], where: str) -> dict[str, float]:
    """
    Return the hours added by type of support, each a number.

    Raises
    ------
    OutOfRangeError
        If a type is not known or hours are no number.
    """
    known = [each.key for each in support_types()]
    for key, value in hours.items():
        if key not in known:
            msg = (
                f"{where}: '{key}' is no type of support;{_meant(key, known)} the types are "
                f"{', '.join(known)}."
            )
            raise OutOfRangeError(msg)
        if not _is_number(value):
            msg = f"{where}: the hours at '{key}' are {value!r}; write a number of hours."
            raise OutOfRangeError(msg)
    return {key: float(value) for key, value in hours.items()}


def _parsed(path: Path) -> Any:
    try:
        content = path.read_bytes()
    except OSError as error:
        msg = f"{path} cannot be read: {error.strerror or error}. Look at its name and place."
        raise OutOfRangeError(msg) from error
    if len(content) > MOST_BYTES:
        msg = (
            f"{path.name} has {len(content):,} bytes; figures of what work costs take less "
            f"than {MOST_BYTES:,}. Look whether it is the right file."
        )
        raise OutOfRangeError(msg)
    try:
        text = content.decode("utf-8-sig")
        if path.suffix.lower() == ".json":
            return json.loads(text)
        if path.suffix.lower() == ".toml":
            return tomllib.loads(text)
    except (ValueError, RecursionError) as error:  # of the text itself, JSON or TOML
        kind = path.suffix.removeprefix(".").upper()
        msg = f"{path.name} is not {kind} in UTF-8: {error}."
        raise OutOfRangeError(msg) from error
    msg = f"{path.name} is neither .toml nor .json by its name; give it one of these endings."
    raise OutOfRangeError(msg)


def _checked(name: str, value: Any, file: str) -> Any:
    if name not in NAMES:
        msg = (
            f"{file}: '{name}' is none of the figures;{_meant(name, NAMES)} they are "
            f"{', '.join(NAMES)}."
        )
        raise OutOfRangeError(msg)
    if name == DAY:
        return _day(value, file)
    if name in TEXTS:
        if not isinstance(value, str):
            msg = f"{file}: {name} is {value!r}; write words in quotation marks."
            raise OutOfRangeError(msg)
        return value
    if name == BY_SUPPORT:
        if not isinstance(value, dict):
            msg = f"{file}: {name} is {value!r}; write hours by type of support under it."
            raise OutOfRangeError(msg)
        return check_support_hours(value, file)
    if name == WEIGHTS:
        if not isinstance(value, list) or not all(_is_number(each) for each in value):
            msg = f"{file}: {name} is {value!r}; write four numbers, such as [10, 4, 2, 1]."
            raise OutOfRangeError(msg)
        return [float(each) for each in value]
    if not _is_number(value) or (name == LEAD and value != int(value)):
        kind = "a whole number of days" if name == LEAD else "a number, without quotation marks"
        msg = f"{file}: {name} is {value!r}; write {kind}."
        raise OutOfRangeError(msg)
    return int(value) if name == LEAD else float(value)


def _day(value: Any, file: str) -> date:
    if type(value) is date:
        return value
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        msg = f"{file}: {DAY} is {value!r}; write a day as year-month-day, 2027-01-01."
        raise OutOfRangeError(msg) from None


def _is_number(value: Any) -> bool:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return is_number and math.isfinite(value)


def _meant(name: str, known: Any) -> str:
    near = difflib.get_close_matches(name, known, n=1)
    return f" did you mean '{near[0]}'?" if near else ""
