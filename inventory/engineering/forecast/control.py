"""Control signs: how many, which, when to measure them, what they say about the others."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, log

import numpy as np

from inventory.engineering.assessment.method_calendar import add_months
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

CONFIDENCE = 0.95
LEAST_MONTHS_APART = 6  # common practice, no source: sooner a reading tells nothing new
AGE_BANDS = 3


def share_below_at_most(control_count: int) -> float:
    """
    Return how many of the others may be below though no control sign is, at 95 %.

    With n control signs drawn at random and none below, a share p below among all has a chance
    of (1 − p)ⁿ; the largest p with a chance of 5 % is returned.

    Raises
    ------
    OutOfRangeError
        If the number is negative.

    Examples
    --------
    >>> [round(share_below_at_most(n), 3) for n in (0, 3, 10, 29)]
    [1.0, 0.632, 0.259, 0.098]
    """
    if control_count < 0:
        msg = f"There are {control_count} control signs; that is 0 or more."
        raise OutOfRangeError(msg)
    return 1.0 if not control_count else 1 - (1 - CONFIDENCE) ** (1 / control_count)


def control_signs_for(share_below: float) -> int:
    """
    Return how many control signs, none below, show that at most such a share of all is.

    Raises
    ------
    OutOfRangeError
        If the share is not over 0 and under 1.

    Examples
    --------
    >>> control_signs_for(0.10), control_signs_for(0.05)
    (29, 59)
    """
    if not 0 < share_below < 1:
        msg = f"The share below is {share_below:g}; it is over 0 and under 1."
        raise OutOfRangeError(msg)
    return ceil(log(1 - CONFIDENCE) / log(1 - share_below))


def choose_control_signs(
    age_years: FloatArray, quadrant: WholeArray, lot: WholeArray, *, wanted: int
) -> WholeArray:
    """
    Return which signs to measure for the others: spread over facing, age and lot.

    The oldest is taken first. Then, one by one, the sign whose facing quadrant, third of the
    ages, and lot are least among those taken; of equal ones the older, then the earlier given.
    What is not known counts as one quadrant, third or lot of its own, so that it is not taken
    for something else.

    Parameters
    ----------
    age_years : array of float
        Of each sign that could be one; nan where not known. [year]
    quadrant, lot : array of int
        Of each; −1 where not known.
    wanted : int
        How many; all where there are fewer.

    Raises
    ------
    OutOfRangeError
        If arrays differ in length or the number is negative.

    Examples
    --------
    >>> ages = np.array([3.0, 12.0, 11.0, 2.0])
    >>> facing, lot = np.array([0, 0, 0, 2]), np.array([5, 5, 5, 6])
    >>> choose_control_signs(ages, facing, lot, wanted=2).tolist()
    [1, 3]
    """
    number = len(age_years)
    if not number == len(quadrant) == len(lot) or wanted < 0:
        msg = (
            f"There are {number} ages, {len(quadrant)} quadrants, {len(lot)} lots, and "
            f"{wanted} are wanted; give one of each for every sign, and 0 or more."
        )
        raise OutOfRangeError(msg)
    ages = np.where(np.isnan(age_years), -1.0, age_years)
    traits = [_numbered(each) for each in (quadrant, _age_band(age_years), lot)]
    taken_of = [np.zeros(int(each.max(initial=0)) + 1) for each in traits]
    is_free = np.ones(number, dtype=np.bool_)
    chosen = []
    for _ in range(min(wanted, number)):
        seen = sum(
            (taken[each] for taken, each in zip(taken_of, traits, strict=True)),
            start=np.zeros(number),
        )
        # The fewest like it, then the oldest, then the first given.
        order = np.lexsort((np.arange(number), -ages, seen, ~is_free))
        best = int(order[0])
        chosen.append(best)
        is_free[best] = False
        for taken, each in zip(taken_of, traits, strict=True):
            taken[each[best]] += 1
    return np.array(chosen, dtype=np.int64)


def _age_band(age_years: FloatArray) -> WholeArray:
    is_known = ~np.isnan(age_years)
    bands = np.full(len(age_years), -1, dtype=np.int64)
    if is_known.any():
        edges = np.quantile(age_years[is_known], np.arange(1, AGE_BANDS) / AGE_BANDS)
        bands[is_known] = np.searchsorted(edges, age_years[is_known], side="left")
    return bands


def _numbered(values: WholeArray) -> WholeArray:
    return np.asarray(np.unique(values, return_inverse=True)[1], dtype=np.int64)


@dataclass(frozen=True, slots=True)
class NextMeasuring:
    """When a control sign is measured next, and why then."""

    on: date
    words: str


def measure_next(
    *,
    measured_on: date | None,
    under_since_on: date,
    interval_months: int,
    early_crossing_on: date | None,
    lead_months: int,
    today: date,
) -> NextMeasuring:
    """
    Return when a control sign is to be measured next.

    By the end of the method's interval at the latest; sooner where the early end of its
    forecast, less the time it takes to replace the signs it stands for, comes sooner; not
    sooner than six months after it was measured last, nor before today.

    Parameters
    ----------
    measured_on, under_since_on : date
        Last usable readings, if any, and the day it came under the method.
    interval_months, lead_months : int
        The method's interval, over 0; how long replacing takes, 0 or more. [month]
    early_crossing_on : date, optional
        Day before which 5 % of such signs cross their level; ``None``: not within 30 years, or
        not known.
    today : date

    Raises
    ------
    OutOfRangeError
        If a number of months is outside these bounds.

    Examples
    --------
    >>> measure_next(measured_on=date(2026, 3, 1), under_since_on=date(2020, 1, 1),
    ...     interval_months=24, early_crossing_on=date(2028, 1, 1), lead_months=12,
    ...     today=date(2026, 6, 1))
    NextMeasuring(on=datetime.date(2027, 1, 1), words='12 months before it may cross its level')
    """
    if interval_months < 1 or lead_months < 0:
        msg = (
            f"An interval of {interval_months} months with {lead_months} months to replace "
            "does not make a calendar; give 1 or more, and 0 or more."
        )
        raise OutOfRangeError(msg)
    since = measured_on or under_since_on
    latest = add_months(since, interval_months)
    words = "end of the interval" if measured_on else "end of the interval; not measured yet"
    when = latest
    if early_crossing_on is not None:
        soon = add_months(early_crossing_on, -lead_months)
        if measured_on is not None:
            soon = max(soon, add_months(measured_on, min(LEAST_MONTHS_APART, interval_months)))
        if soon < when:
            when, words = soon, f"{lead_months} months before it may cross its level"
    if when < today:
        return NextMeasuring(today, f"now: {words}, since {when:%Y-%m-%d}")
    return NextMeasuring(when, words)


@dataclass(frozen=True, slots=True)
class DueRange:
    """When a sign is due and its 5 to 95 % range; ``None`` is not within 30 years."""

    due_on: date | None
    early_on: date | None
    late_on: date | None


@dataclass(frozen=True, slots=True)
class WhatTheySay:
    """
    Control signs against the signs they stand for, by their forecasts.

    Days are ``date.max`` where not within 30 years. ``share_before_first`` is the share of the
    others that are due before the first control sign is: those it would warn of too late;
    ``share_agreeing`` that of the others whose own range holds the control signs' middle day.
    """

    first_on: date
    middle_on: date
    others_middle_on: date
    share_before_first: float
    share_agreeing: float


def compare_with_others(
    controls: Sequence[DueRange], others: Sequence[DueRange]
) -> WhatTheySay | None:
    """
    Return what control signs say about the others; nothing where either has no forecast.

    Examples
    --------
    >>> def due(year):
    ...     return DueRange(date(year, 7, 1), date(year - 2, 7, 1), date(year + 2, 7, 1))
    >>> said = compare_with_others([due(2030), due(2031), due(2032)], [due(2029), due(2036)])
    >>> said.first_on.year, said.middle_on.year, said.share_before_first, said.share_agreeing
    (2030, 2031, 0.5, 0.5)
    """
    if not controls or not others:
        return None
    own = sorted(each.due_on or date.max for each in controls)
    first, middle = own[0], own[(len(own) - 1) // 2]
    theirs = sorted(each.due_on or date.max for each in others)
    agreeing = [
        (each.early_on or date.max) <= middle <= (each.late_on or date.max) for each in others
    ]
    return WhatTheySay(
        first_on=first,
        middle_on=middle,
        others_middle_on=theirs[(len(theirs) - 1) // 2],
        share_before_first=sum(day < first for day in theirs) / len(theirs),
        share_agreeing=sum(agreeing) / len(agreeing),
    )
