"""Whether an instrument shows what its standard returns, and which readings that doubts.

A check holds for the readings around it: those between two good checks in a row are trusted,
those with a check outside its tolerance between the same two are in doubt.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from inventory.errors import OutOfRangeError

LARGEST_TOLERANCE_REL = 0.5


class CertificateState(StrEnum):
    """What is known of an instrument's certificate on a day."""

    VALID = "valid"
    EXPIRED = "expired"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Check:
    """
    One check of an instrument against its reference standard.

    ``is_before`` tells a check before a session from one after it; ``number`` orders checks of
    one moment.
    """

    checked_at: datetime
    is_before: bool
    is_good: bool
    number: int

    @property
    def place(self) -> tuple[datetime, int]:
        """Return where the check stands among the checks of its instrument."""
        return (self.checked_at, self.number)

    def is_ahead_of(self, taken_at: datetime) -> bool:
        """
        Return whether a reading was taken after the check.

        Of one moment, a check before a session is ahead of the reading, one after it is not.
        """
        if taken_at == self.checked_at:
            return self.is_before
        return self.checked_at < taken_at


def relative_difference(reference: Decimal, shown: Decimal) -> Fraction:
    """
    Return by what share of the reference an instrument is off, without its sign.

    Parameters
    ----------
    reference : Decimal
        R_A of the reference standard as its certificate states it, over 0. [cd/lx/m²]
    shown : Decimal
        What the instrument showed on it, 0 or more. [cd/lx/m²]

    Returns
    -------
    Fraction
        The exact share.

    Raises
    ------
    OutOfRangeError
        If the reference is not over 0 or what was shown is negative.

    References
    ----------
    .. [1] JCGM 200:2012 (VIM), 2.16 and 5.1: the error of a measurement, and standards (from
       memory).

    Examples
    --------
    >>> relative_difference(Decimal("100"), Decimal("105"))
    Fraction(1, 20)
    """
    if not reference > 0:
        msg = (
            f"The reference standard is given as {reference} cd/lx/m²; a standard returns more "
            "than 0. Type the value on its certificate."
        )
        raise OutOfRangeError(msg)
    if shown < 0:
        msg = (
            f"The instrument is said to have shown {shown} cd/lx/m², which is negative; zero "
            "it and check again."
        )
        raise OutOfRangeError(msg)
    return abs(Fraction(shown) - Fraction(reference)) / Fraction(reference)


def is_within_tolerance(reference: Decimal, shown: Decimal, tolerance_rel: float) -> bool:
    """
    Return whether a check is good; a difference equal to the tolerance is.

    Parameters
    ----------
    reference, shown : Decimal
        As for :func:`relative_difference`. [cd/lx/m²]
    tolerance_rel : float
        Largest share of the reference by which the instrument may be off, over 0 and at most
        0.5; taken as the decimal it is written as.

    Raises
    ------
    OutOfRangeError
        If the tolerance is outside its bounds, or as :func:`relative_difference` does.

    Examples
    --------
    >>> is_within_tolerance(Decimal("100"), Decimal("105"), 0.05)
    True
    >>> is_within_tolerance(Decimal("100"), Decimal("94.9"), 0.05)
    False
    """
    check_tolerance(tolerance_rel)
    return relative_difference(reference, shown) <= Fraction(Decimal(repr(tolerance_rel)))


def check_tolerance(tolerance_rel: float) -> None:
    """
    Refuse a tolerance no instrument is used with.

    Raises
    ------
    OutOfRangeError
        If it is not over 0 and at most 0.5 (common practice, no source).

    Examples
    --------
    >>> check_tolerance(5.0)
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: A tolerance of 500 % is no instrument's; it is over 0 and
    at most 50 %. Take it from the instrument's instructions.
    """
    if not 0.0 < tolerance_rel <= LARGEST_TOLERANCE_REL:
        msg = (
            f"A tolerance of {tolerance_rel * 100:g} % is no instrument's; it is over 0 and at "
            f"most {LARGEST_TOLERANCE_REL * 100:g} %. Take it from the instrument's "
            "instructions."
        )
        raise OutOfRangeError(msg)


class CheckHistory:
    """
    The checks of one instrument, and what they say of its readings.

    Parameters
    ----------
    checks : sequence of Check
        In any order.

    Examples
    --------
    >>> from datetime import UTC
    >>> hour = lambda number: datetime(2026, 6, 1, number, tzinfo=UTC)
    >>> before, after = Check(hour(8), True, True, 1), Check(hour(17), False, False, 2)
    >>> history = CheckHistory([before, after])
    >>> [each.number for each in history.failed_around(hour(12))]
    [2]
    >>> history.failed_around(hour(7))
    ()
    """

    def __init__(self, checks: Sequence[Check]) -> None:
        ordered = sorted(checks, key=lambda each: each.place)
        self._good = [each for each in ordered if each.is_good]
        self._good_places = [each.place for each in self._good]
        self._good_times = [each.checked_at for each in self._good]
        self._failed = [each for each in ordered if not each.is_good]
        self._failed_places = [each.place for each in self._failed]

    def last_good_before(self, check: Check) -> Check | None:
        """Return the good check next before a check, ``None`` when there is none."""
        at = bisect_left(self._good_places, check.place)
        return self._good[at - 1] if at else None

    def first_good_after(self, check: Check) -> Check | None:
        """Return the good check next after a check, ``None`` when there is none."""
        at = bisect_right(self._good_places, check.place)
        return self._good[at] if at < len(self._good) else None

    def failed_around(self, taken_at: datetime) -> tuple[Check, ...]:
        """
        Return the failed checks that put a reading of this moment in doubt.

        These are the failed ones between the last good check before the reading and the first
        good one after it; no good check on a side leaves that side open.
        """
        start, end = 0, len(self._failed)
        # Only good checks of the reading's own moment have to be asked on which side they are.
        for each in reversed(self._good[: bisect_right(self._good_times, taken_at)]):
            if each.is_ahead_of(taken_at):
                start = bisect_right(self._failed_places, each.place)
                break
        for each in self._good[bisect_left(self._good_times, taken_at) :]:
            if not each.is_ahead_of(taken_at):
                end = bisect_left(self._failed_places, each.place)
                break
        return tuple(self._failed[start:end])


def certificate_state(
    certificates: Sequence[tuple[date | None, date | None]], taken_on: date
) -> CertificateState:
    """
    Return whether an instrument's certificate was in date on a day.

    Parameters
    ----------
    certificates : sequence of (date or None, date or None)
        From when and until when each holds, the newest statement last; of two from the same
        day the later statement counts, as a correction. A start that is not known is before
        any other.
    taken_on : date
        The day of the reading.

    Returns
    -------
    CertificateState
        Unknown where no certificate with a due date had started by that day. The due date
        itself is in date.

    Examples
    --------
    >>> first = (date(2025, 3, 1), date(2026, 3, 1))
    >>> renewed = (date(2026, 4, 10), date(2027, 4, 10))
    >>> certificate_state([first, renewed], date(2026, 3, 15)).value
    'expired'
    >>> certificate_state([renewed], date(2026, 3, 15)).value
    'unknown'
    """
    known = certificate_on(certificates, taken_on)
    if known is None:
        return CertificateState.UNKNOWN
    return CertificateState.VALID if taken_on <= known[1] else CertificateState.EXPIRED


def certificate_on(
    certificates: Sequence[tuple[date | None, date | None]], taken_on: date
) -> tuple[date | None, date] | None:
    """
    Return the certificate that counts on a day, from when and until when it holds.

    As for :func:`certificate_state`; ``None`` where none with a due date had started.

    Examples
    --------
    >>> first = (date(2025, 3, 1), date(2026, 3, 1))
    >>> certificate_on([first, (date(2026, 4, 10), date(2027, 4, 10))], date(2026, 3, 15))
    (datetime.date(2025, 3, 1), datetime.date(2026, 3, 1))
    """
    started = [
        (start or date.min, number, (start, due))
        for number, (start, due) in enumerate(certificates)
        if due is not None and (start is None or start <= taken_on)
    ]
    return max(started, key=lambda each: each[:2])[2] if started else None


def check_doubt(checked_at: datetime) -> str:
    """
    Return what a failed check holds against a reading, while nobody has settled it.

    Examples
    --------
    >>> check_doubt(datetime(2026, 6, 1, 17, 30))
    'the check of the instrument at 2026-06-01 17:30 was outside its tolerance; not settled yet'
    """
    return (
        f"the check of the instrument at {checked_at:%Y-%m-%d %H:%M} was outside its "
        "tolerance; not settled yet"
    )


def certificate_doubt() -> str:
    """Return what an expired certificate holds against a reading, until it is settled."""
    return "the certificate of the instrument was out of date; not settled yet"


def set_aside_words(settled_on: date, reason: str) -> str:
    """
    Return why a person set readings aside.

    Examples
    --------
    >>> set_aside_words(date(2026, 6, 2), "lens was dirty.")
    'set aside on 2026-06-02: lens was dirty'
    """
    return f"set aside on {settled_on:%Y-%m-%d}: {reason.strip().rstrip('.')}"
