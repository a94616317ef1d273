"""Small readers of what a phone sends: each gives a value, or says what is wrong with it."""

from __future__ import annotations

import math
import uuid
from datetime import UTC, date, datetime
from typing import TYPE_CHECKING, Any

from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping

LONGEST_SHOWN = 60
MOST_WHOLE = 2**63 - 1  # what a database column of whole numbers holds
FIRST_YEAR, LAST_YEAR = 1970, 2200  # of a phone's clock, however wrong it is
MISSING: Any = object()


def text(
    of: Mapping[str, Any], name: str, *, most: int, least: int = 0, default: Any = MISSING
) -> str:
    """Return a text without blanks around it, of ``least`` to ``most`` characters."""
    value = _value(of, name, default)
    if not isinstance(value, str):
        msg = f"{name} is {shown(value)}; it must be a text."
        raise OutOfRangeError(msg)
    cleaned = storable(value).strip()
    if len(cleaned) > most:
        msg = f"{name} has {len(cleaned)} characters; at most {most} are kept. Shorten it."
        raise OutOfRangeError(msg)
    if len(cleaned) < least:
        msg = f"{name} is empty; fill it in."
        raise OutOfRangeError(msg)
    return cleaned


def choice(
    of: Mapping[str, Any], name: str, allowed: Collection[str], *, default: Any = MISSING
) -> str:
    """Return one of the allowed words."""
    value = _value(of, name, default)
    if not isinstance(value, str) or value not in allowed:
        words = ", ".join(each or "nothing" for each in sorted(allowed))
        msg = f"{name} is {shown(value)}; it must be one of: {words}."
        raise OutOfRangeError(msg)
    return value


def whole(
    of: Mapping[str, Any],
    name: str,
    *,
    least: int,
    most: int = MOST_WHOLE,
    default: Any = MISSING,
) -> int:
    """Return a whole number within its bounds (both allowed)."""
    value = _value(of, name, default)
    if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
        msg = f"{name} is {shown(value)}; it must be a whole number from {least} to {most}."
        raise OutOfRangeError(msg)
    return value


def whole_or_none(
    of: Mapping[str, Any], name: str, *, least: int, most: int = MOST_WHOLE
) -> int | None:
    """Return a whole number within its bounds, or ``None`` where none was sent."""
    return None if of.get(name) is None else whole(of, name, least=least, most=most)


def number(
    of: Mapping[str, Any], name: str, *, least: float, most: float, default: Any = MISSING
) -> float:
    """Return a number within its bounds (both allowed)."""
    value = _value(of, name, default)
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    if not is_number or not math.isfinite(value) or not least <= value <= most:
        msg = f"{name} is {shown(value)}; it must be a number from {least:g} to {most:g}."
        raise OutOfRangeError(msg)
    return float(value)


def number_or_none(
    of: Mapping[str, Any], name: str, *, least: float, most: float
) -> float | None:
    """Return a number within its bounds, or ``None`` where none was sent."""
    return None if of.get(name) is None else number(of, name, least=least, most=most)


def truth(of: Mapping[str, Any], name: str, *, default: Any = MISSING) -> bool:
    """Return true or false, as it was sent."""
    value = _value(of, name, default)
    if not isinstance(value, bool):
        msg = f"{name} is {shown(value)}; it must be true or false."
        raise OutOfRangeError(msg)
    return value


def moment(of: Mapping[str, Any], name: str) -> datetime:
    """Return a time with its zone, in UTC."""
    value = _value(of, name, MISSING)
    try:
        parsed = datetime.fromisoformat(value) if isinstance(value, str) else None
        at = None if parsed is None or parsed.tzinfo is None else parsed.astimezone(UTC)
    except (ValueError, OverflowError):
        at = None
    if at is None or not FIRST_YEAR <= at.year <= LAST_YEAR:
        msg = (
            f"{name} is {shown(value)}; it must be a time with its zone, such as "
            f"2026-11-25T10:00:00.000Z, of the years {FIRST_YEAR} to {LAST_YEAR}."
        )
        raise OutOfRangeError(msg)
    return at


def day(of: Mapping[str, Any], name: str) -> date:
    """Return a calendar day."""
    value = _value(of, name, MISSING)
    try:
        parsed = date.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        parsed = None
    if parsed is None:
        msg = f"{name} is {shown(value)}; it must be a day, such as 2026-11-25."
        raise OutOfRangeError(msg)
    return parsed


def key(of: Mapping[str, Any], name: str) -> uuid.UUID:
    """Return a UUID."""
    return as_key(_value(of, name, MISSING), name)


def key_or_none(of: Mapping[str, Any], name: str) -> uuid.UUID | None:
    """Return a UUID, or ``None`` where none was sent."""
    return None if of.get(name) is None else key(of, name)


def as_key(value: Any, name: str) -> uuid.UUID:
    """Return a value as a UUID, of the one spelling that phones use."""
    try:
        parsed = uuid.UUID(value) if isinstance(value, str) else None
    except ValueError:
        parsed = None
    if parsed is None or str(parsed) != value.lower():
        msg = f"{name} is {shown(value)}; it must be a UUID such as {uuid.UUID(int=0)}."
        raise OutOfRangeError(msg)
    return parsed


def mapping(of: Mapping[str, Any], name: str, *, default: Any = MISSING) -> dict[str, Any]:
    """Return an object with named fields."""
    value = _value(of, name, default)
    if not isinstance(value, dict):
        msg = f"{name} is {shown(value)}; it must be an object with named fields."
        raise OutOfRangeError(msg)
    return value


def mapping_or_none(of: Mapping[str, Any], name: str) -> dict[str, Any] | None:
    """Return an object with named fields, or ``None`` where none was sent."""
    return None if of.get(name) is None else mapping(of, name)


def items(of: Mapping[str, Any], name: str, *, most: int, default: Any = MISSING) -> list[Any]:
    """Return a list of at most ``most`` entries."""
    value = _value(of, name, default)
    if not isinstance(value, list):
        msg = f"{name} is {shown(value)}; it must be a list."
        raise OutOfRangeError(msg)
    if len(value) > most:
        msg = f"{name} has {len(value)} entries; at most {most} are taken. Send the rest apart."
        raise OutOfRangeError(msg)
    return value


def mappings(
    of: Mapping[str, Any], name: str, *, most: int, default: Any = MISSING
) -> list[dict[str, Any]]:
    """Return a list of objects with named fields."""
    found = items(of, name, most=most, default=default)
    for each in found:
        if not isinstance(each, dict):
            msg = f"{name} holds {shown(each)}; each entry must be an object with fields."
            raise OutOfRangeError(msg)
    return found


def texts(
    of: Mapping[str, Any], name: str, *, most: int, longest: int, default: Any = MISSING
) -> list[str]:
    """Return a list of texts, of at most ``longest`` characters each."""
    found = items(of, name, most=most, default=default)
    return [text({name: each}, name, most=longest) for each in found]


def storable(value: str) -> str:
    """Return a text without the characters that a database cannot hold."""
    whole_characters = value.encode("utf-8", "replace").decode()
    return whole_characters.replace("\0", "\N{SYMBOL FOR NULL}")


def shown(value: Any) -> str:
    """Return a value as a sentence shows it, cut where it is long."""
    said = "missing" if value is MISSING else "empty" if value is None else repr(value)
    said = storable(said)
    return said if len(said) <= LONGEST_SHOWN else said[: LONGEST_SHOWN - 1] + "…"


def _value(of: Mapping[str, Any], name: str, default: Any) -> Any:
    value = of.get(name, default)
    return default if value is None and default is not MISSING else value
