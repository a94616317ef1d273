"""Whether a method of record is applied: when each sign of a group is next to be dealt with.

An agency complies by having a method and using it (MUTCD 11th edition section 2A.22), so each
method is held against its own calendar: inspections every so often, a life counted from the
sign's age, a round of replacement, or the measuring of control signs.
"""

import calendar
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from inventory.engineering.standards.method_rules import least_control_signs
from inventory.units import partial_date

_MONTHS = 12


class Method(StrEnum):
    """The methods, as the groups of signs name them."""

    MEASURED = "measured"
    VISUAL_NIGHT = "visual_night"
    EXPECTED_LIFE = "expected_life"
    BLANKET = "blanket"
    CONTROL_SIGNS = "control_signs"
    EXCLUDED = "excluded"


class Applied(StrEnum):
    """How one sign stands on its method's calendar."""

    IN_TIME = "in time"
    OVERDUE = "overdue"
    AGE_NOT_KNOWN = "age not known"
    NO_CALENDAR = "no calendar"


@dataclass(frozen=True, slots=True)
class Terms:
    """What a group is run by; ``last_round_on`` is the last round of replacement on record."""

    method: Method
    started_on: date
    interval_months: int | None = None
    expected_life_years: int | None = None
    last_round_on: date | None = None


@dataclass(frozen=True, slots=True)
class CoveredSign:
    """
    One sign under a method, with the days its calendar counts from.

    ``installed_on`` and ``fabricated_on`` are ``None`` when they are not known;
    ``measured_on`` is the day of the last usable readings, ``rated_on`` of the last rating by
    night.
    """

    sign_id: int
    under_since_on: date
    sheeting: str = ""
    is_control: bool = False
    installed_on: date | None = None
    fabricated_on: date | None = None
    installed_precision: str = "day"
    fabricated_precision: str = "day"
    measured_on: date | None = None
    rated_on: date | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """When one sign is next to be dealt with, how that stands on a day, and in words why."""

    sign_id: int
    applied: Applied
    due_on: date | None
    words: str


@dataclass(frozen=True, slots=True)
class MethodCalendar:
    """A group's calendar on a day; ``warnings`` are sentences about the group as a whole."""

    entries: tuple[Entry, ...]
    warnings: tuple[str, ...] = ()

    @property
    def counts(self) -> Counter[Applied]:
        """Return how many signs stand how."""
        return Counter(entry.applied for entry in self.entries)

    @property
    def overdue(self) -> list[Entry]:
        """Return the overdue signs, the longest overdue first."""
        late = [entry for entry in self.entries if entry.applied is Applied.OVERDUE]
        return sorted(late, key=lambda entry: (entry.due_on or date.min, entry.sign_id))

    @property
    def next_due_on(self) -> date | None:
        """Return the first day still to come on which a sign is to be dealt with."""
        coming = [
            entry.due_on
            for entry in self.entries
            if entry.applied is Applied.IN_TIME and entry.due_on is not None
        ]
        return min(coming, default=None)

    @property
    def share_in_time(self) -> float | None:
        """Return the share in time of the signs with a calendar; ``None``: there are none."""
        counted = [e for e in self.entries if e.applied is not Applied.NO_CALENDAR]
        if not counted:
            return None
        return sum(entry.applied is Applied.IN_TIME for entry in counted) / len(counted)


def add_months(day: date, months: int) -> date:
    """
    Return the same day of a later month, or that month's last day.

    Examples
    --------
    >>> add_months(date(2025, 12, 31), 2)
    datetime.date(2026, 2, 28)
    """
    month = day.month - 1 + months
    year, month = day.year + month // _MONTHS, month % _MONTHS + 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def method_calendar(
    terms: Terms, signs: Iterable[CoveredSign], *, today: date
) -> MethodCalendar:
    """
    Return the calendar of a group of signs under one method.

    Measured and visual: the last inspection that counts, plus the interval; a sign that was
    never inspected counts from the day it came under the method. Expected life: from the day
    the sign was put up, or made where only that is known, plus the life. Blanket: from the last
    round, plus the interval; without a round on record, from each sign's own age. Control
    signs: the control signs are measured at the interval, and each stands for the signs of its
    sheeting; a sheeting with fewer than three is named.

    Parameters
    ----------
    terms : Terms
        Method, interval in months, life in years.
    signs : iterable of CoveredSign
        The signs of the group.
    today : date
        The day asked about; a sign due on that day is in time.

    References
    ----------
    .. [1] FHWA-HRT-08-026 chapters 3 and 4.
    .. [2] NCHRP Synthesis 431 p. 12: at least three control signs per sheeting type.

    Examples
    --------
    >>> terms = Terms(Method.MEASURED, date(2024, 1, 1), interval_months=24)
    >>> sign = CoveredSign(7, date(2024, 1, 1), measured_on=date(2024, 3, 5))
    >>> method_calendar(terms, [sign], today=date(2026, 6, 1)).entries[0].applied.value
    'overdue'
    """
    covered = list(signs)
    if terms.method is Method.CONTROL_SIGNS:
        return _control_calendar(terms, covered, today)
    entry_of = {
        Method.MEASURED: _inspected,
        Method.VISUAL_NIGHT: _inspected,
        Method.EXPECTED_LIFE: _aged,
        Method.BLANKET: _replaced_in_rounds,
        Method.EXCLUDED: _left_out,
    }[terms.method]
    entries = tuple(entry_of(terms, sign, today) for sign in covered)
    warnings = []
    if terms.method is Method.BLANKET and terms.last_round_on is None and covered:
        warnings.append(
            "No round of replacement is on record yet; each sign is counted from its own age "
            "until one is."
        )
    return MethodCalendar(entries, tuple(warnings))


def _entry(sign: CoveredSign, due_on: date, today: date, words: str) -> Entry:
    applied = Applied.OVERDUE if due_on < today else Applied.IN_TIME
    return Entry(sign.sign_id, applied, due_on, words)


def _inspected(terms: Terms, sign: CoveredSign, today: date) -> Entry:
    is_measured = terms.method is not Method.VISUAL_NIGHT
    last_on = sign.measured_on if is_measured else sign.rated_on
    done = "measured" if is_measured else "rated by night"
    interval = terms.interval_months or 0
    if last_on is None:
        due_on = add_months(sign.under_since_on, interval)
        since = f"under the method since {sign.under_since_on:%Y-%m-%d}"
        return _entry(sign, due_on, today, f"not {done} yet, {since}")
    return _entry(sign, add_months(last_on, interval), today, f"last {done} {last_on:%Y-%m-%d}")


def _age_from(sign: CoveredSign) -> tuple[date, str] | None:
    """Return the day a sign's age counts from; the day it was made is never too late."""
    if sign.installed_on is not None:
        known = partial_date(sign.installed_on, sign.installed_precision)
        return sign.installed_on, f"put up {known}"
    if sign.fabricated_on is not None:
        known = partial_date(sign.fabricated_on, sign.fabricated_precision)
        return sign.fabricated_on, f"made {known}"
    return None


def _aged(terms: Terms, sign: CoveredSign, today: date) -> Entry:
    return _by_age(sign, (terms.expected_life_years or 0) * _MONTHS, today)


def _by_age(sign: CoveredSign, months: int, today: date) -> Entry:
    age = _age_from(sign)
    if age is None:
        words = "neither the day it was made nor the day it was put up is known"
        return Entry(sign.sign_id, Applied.AGE_NOT_KNOWN, None, words)
    return _entry(sign, add_months(age[0], months), today, age[1])


def _replaced_in_rounds(terms: Terms, sign: CoveredSign, today: date) -> Entry:
    interval = terms.interval_months or 0
    if terms.last_round_on is None:
        return _by_age(sign, interval, today)
    round_on = terms.last_round_on
    if sign.installed_on is not None and add_months(sign.installed_on, interval) < round_on:
        # Older than a whole interval when the round was done: the round passed it by.
        known = partial_date(sign.installed_on, sign.installed_precision)
        words = f"put up {known}, missed by the round of {round_on:%Y-%m-%d}"
        return Entry(sign.sign_id, Applied.OVERDUE, round_on, words)
    return _entry(sign, add_months(round_on, interval), today, f"round of {round_on:%Y-%m-%d}")


def _left_out(terms: Terms, sign: CoveredSign, today: date) -> Entry:
    del terms, today
    return Entry(sign.sign_id, Applied.NO_CALENDAR, None, "left out")


def _control_calendar(terms: Terms, covered: list[CoveredSign], today: date) -> MethodCalendar:
    controls = [sign for sign in covered if sign.is_control]
    own = {sign.sign_id: _inspected(terms, sign, today) for sign in controls}
    first_of: dict[str, Entry] = {}
    for sign in controls:
        entry = own[sign.sign_id]
        known = first_of.get(sign.sheeting)
        if known is None or (entry.due_on or date.max) < (known.due_on or date.max):
            first_of[sign.sheeting] = entry
    entries = []
    for sign in covered:
        if sign.is_control:
            entry = own[sign.sign_id]
            entries.append(Entry(entry.sign_id, entry.applied, entry.due_on, _control(entry)))
            continue
        stands_for_it = first_of.get(sign.sheeting)
        if stands_for_it is None:
            words = "no control sign of its sheeting"
            entries.append(Entry(sign.sign_id, Applied.OVERDUE, terms.started_on, words))
        else:
            words = "by its control signs"
            entries.append(
                Entry(sign.sign_id, stands_for_it.applied, stands_for_it.due_on, words)
            )
    return MethodCalendar(tuple(entries), _too_few(covered))


def _control(entry: Entry) -> str:
    return f"control sign, {entry.words}"


def _too_few(covered: list[CoveredSign]) -> tuple[str, ...]:
    """Return a sentence for each sheeting with fewer control signs than are asked for."""
    least = least_control_signs()
    signs = Counter(sign.sheeting for sign in covered)
    controls = Counter(sign.sheeting for sign in covered if sign.is_control)
    return tuple(
        f"{sheeting or 'Sheeting not known'}: {controls[sheeting]} control "
        f"{'sign' if controls[sheeting] == 1 else 'signs'} for {signs[sheeting]} signs; at "
        f"least {least.count} per sheeting type are asked for ({least.short_source})."
        for sheeting in sorted(signs)
        if controls[sheeting] < least.count
    )
