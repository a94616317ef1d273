"""When a forecast due date is soon, for the marks on maps and lists."""

from __future__ import annotations

from calendar import monthrange
from datetime import date

from inventory.models import AgencyPolicy

DUE_PROBABILITY: float = AgencyPolicy._meta.get_field("due_probability").default
DUE_SOON_MONTHS: int = AgencyPolicy._meta.get_field("due_soon_months").default


def is_soon(due_on: date | None, today: date, months: int) -> bool:
    """
    Return whether a day is within so many months from today, or past.

    Examples
    --------
    >>> is_soon(date(2027, 2, 28), date(2026, 8, 31), 6), is_soon(None, date(2026, 8, 31), 6)
    (True, False)
    >>> is_soon(date(2027, 3, 1), date(2026, 8, 31), 6)
    False
    """
    return due_on is not None and due_on <= months_later(today, months)


def months_later(day: date, months: int) -> date:
    """
    Return the same day of a later month, or its last one.

    Examples
    --------
    >>> months_later(date(2026, 8, 31), 6).isoformat()
    '2027-02-28'
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
