"""What a supplier promises of a face, and whether a reading is under it while it holds."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from fractions import Fraction

from inventory.engineering.production.stock_life import MONTHS_PER_YEAR, months_after
from inventory.errors import OutOfRangeError

LONGEST_YEARS = 30
SHARE_DECIMALS = 4
LONGEST_REMEDY = 160
MOST_STEPS = 10


class Shown(StrEnum):
    """How far a condition of a warranty is shown."""

    MET = "met"
    FAILED = "failed"
    UNKNOWN = "unknown"

    @property
    def words(self) -> str:
        """Return it as pages and files say it."""
        return {"met": "met", "failed": "not met", "unknown": "not known"}[self.value]


@dataclass(frozen=True, slots=True)
class PromiseStep:
    """Up to a number of years a share of the initial value is kept; else the remedy is due."""

    until_years: int
    retained_share: Decimal
    remedy: str

    @property
    def share_words(self) -> str:
        """
        Return the share in per cent, as exact as it is.

        Examples
        --------
        >>> PromiseStep(7, Decimal("0.8000"), "").share_words
        '80 %'
        """
        return f"{(self.retained_share * 100).normalize():f} %"


@dataclass(frozen=True, slots=True)
class Days:
    """A day known only to lie between two, both of which it may be."""

    first: date
    last: date


@dataclass(frozen=True, slots=True)
class Promise:
    """
    What holds of one colour on one day.

    ``promised_ra`` is in cd/lx/m². ``is_certain``: it holds wherever in its span the start lay;
    otherwise it is the least that may hold, and the term may be over.
    """

    step: PromiseStep
    promised_ra: Decimal
    is_certain: bool


def check_steps(steps: list[PromiseStep]) -> None:
    """
    Refuse steps that promise nothing, or more as a face gets older.

    Raises
    ------
    OutOfRangeError
        If there is no step or more than ten, years do not rise or are not 1 to 30, a share is
        not over 0 and up to 1, is too fine or rises, or a remedy is not named or too long.
    """
    if not 1 <= len(steps) <= MOST_STEPS:
        msg = f"A term has 1 to {MOST_STEPS} steps, and not {len(steps)}."
        raise OutOfRangeError(msg)
    before = PromiseStep(0, Decimal(1), "")
    for step in steps:
        if not before.until_years < step.until_years <= LONGEST_YEARS:
            msg = (
                f"A step until year {step.until_years} behind one until year "
                f"{before.until_years}: years rise, up to {LONGEST_YEARS}."
            )
            raise OutOfRangeError(msg)
        if not 0 < step.retained_share <= before.retained_share:
            msg = (
                f"A share of {step.retained_share:f} until year {step.until_years}: type one "
                f"over 0 and up to {before.retained_share:f}, that of the step before."
            )
            raise OutOfRangeError(msg)
        if step.retained_share != round(step.retained_share, SHARE_DECIMALS):
            msg = (
                f"A share of {step.retained_share:f} until year {step.until_years} is too "
                f"fine; it has up to {SHARE_DECIMALS} decimals, two as per cent."
            )
            raise OutOfRangeError(msg)
        if not 0 < len(step.remedy.strip()) <= LONGEST_REMEDY:
            msg = (
                f"Say what is due if the promise until year {step.until_years} is not kept, in "
                f"up to {LONGEST_REMEDY} letters; it has {len(step.remedy.strip())}."
            )
            raise OutOfRangeError(msg)
        before = step


def step_on(steps: list[PromiseStep], started_on: date, day: date) -> PromiseStep | None:
    """
    Return the step in force on a day; ``None`` before the start and when the term is over.

    A step of n years ends on the eve of the n-th return of the day it started (common practice,
    no source; a supplier's text that says otherwise goes before).

    Examples
    --------
    >>> steps = [PromiseStep(7, Decimal("0.8"), "a new face"), PromiseStep(10, Decimal("0.7"),
    ...          "sheeting")]
    >>> step_on(steps, date(2019, 5, 10), date(2026, 5, 9)).until_years
    7
    >>> step_on(steps, date(2019, 5, 10), date(2026, 5, 10)).until_years
    10
    >>> step_on(steps, date(2019, 5, 10), date(2029, 5, 10)) is None
    True
    """
    if day < started_on:
        return None
    for step in steps:
        if day < months_after(started_on, MONTHS_PER_YEAR * step.until_years):
            return step
    return None


def promise_on(
    steps: list[PromiseStep], initial_ra: Decimal, started: Days, day: date
) -> Promise | None:
    """
    Return what is promised of a colour on a day.

    Parameters
    ----------
    steps : list of PromiseStep
        As :func:`check_steps` takes them.
    initial_ra : Decimal
        The initial value that the term names for the colour. [cd/lx/m²]
    started : Days
        When the term began to run, as well as it is known.
    day : date
        Such as the day of a reading.

    Returns
    -------
    Promise or None
        The least that holds for any start in the span; ``None`` where it holds for none.

    Examples
    --------
    >>> steps = [PromiseStep(7, Decimal("0.8"), "a new face")]
    >>> in_2019 = Days(date(2019, 1, 1), date(2019, 12, 31))
    >>> promise_on(steps, Decimal(380), in_2019, date(2025, 6, 1)).promised_ra
    Decimal('304.0')
    >>> promise_on(steps, Decimal(380), in_2019, date(2026, 6, 1)).is_certain
    False
    """
    oldest = step_on(steps, started.first, day)
    youngest = step_on(steps, started.last, day)
    least = oldest or youngest
    if least is None:
        return None
    return Promise(least, initial_ra * least.retained_share, oldest == youngest)


@dataclass(frozen=True, slots=True)
class Condition:
    """A condition of the warranty, how far it is shown, and by what."""

    key: str
    words: str
    shown: Shown
    why: str


@dataclass(frozen=True, slots=True)
class Shortfall:
    """A reading under what was promised; ``is_clear``: by more than its uncertainty."""

    mean_ra: Fraction
    uncertainty_ra: float
    promise: Promise
    is_clear: bool


def shortfall_of(
    mean_ra: Fraction, uncertainty_ra: float, promise: Promise
) -> Shortfall | None:
    """
    Return how a mean of readings falls short of a promise; ``None`` where it keeps it.

    Compared exactly: a mean that equals what is promised keeps it. The uncertainty is U of the
    95 % interval mean ± U (JCGM 100:2008) and only tells whether the shortfall is clear.

    Examples
    --------
    >>> promise = Promise(PromiseStep(7, Decimal("0.8"), "a new face"), Decimal("304.0"), True)
    >>> shortfall_of(Fraction(304), 20.0, promise) is None
    True
    >>> shortfall_of(Fraction(290), 20.0, promise).is_clear
    False
    """
    if mean_ra >= Fraction(promise.promised_ra):
        return None
    is_clear = float(mean_ra) + uncertainty_ra < float(promise.promised_ra)
    return Shortfall(mean_ra, uncertainty_ra, promise, is_clear)


def stored_long(received_on: date, made_on: Days, limit_months: int) -> Shown:
    """
    Return whether sheeting was made into a face within its storage limit.

    Examples
    --------
    >>> stored_long(date(2020, 1, 31), Days(date(2020, 12, 1), date(2020, 12, 31)), 12)
    <Shown.MET: 'met'>
    """
    limit = months_after(received_on, limit_months)
    if made_on.last <= limit:
        return Shown.MET
    return Shown.FAILED if made_on.first > limit else Shown.UNKNOWN
