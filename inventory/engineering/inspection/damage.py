"""Which of what was seen is damage to be acted on now, and how long putting it right took."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inventory.engineering.inspection.vocabulary import Severity

# However it was graded: what is not there, or lies on the ground, cannot be relied on.
GONE = frozenset({"missing", "knocked_down"})
# Wear is the programme's: it is damage only where the face cannot be relied on any more.
WEAR = frozenset({"faded", "delaminated", "general", "wrong_sign"})
# A new face puts neither a post nor a hedge right.
OUTLIVES_THE_FACE = frozenset({"leaning", "obstructed"})


def damage_severity(kind: str, severity: Severity) -> Severity | None:
    """
    Return how bad something seen is as damage, or ``None`` where it is not to be acted on now.

    Parameters
    ----------
    kind : str
        What was seen, such as ``"bent"`` or ``"knocked_down"``.
    severity : Severity
        As it was graded by eye.

    Returns
    -------
    Severity or None
        Moderate or severe. A missing or knocked-down sign is severe whatever was typed; wear
        (faded, coming off, a general condition) counts only where it is severe.

    Notes
    -----
    Common practice, no source: which kinds are left to the replacement programme.

    Examples
    --------
    >>> damage_severity("knocked_down", Severity.SLIGHT).name
    'SEVERE'
    >>> damage_severity("faded", Severity.MODERATE) is None
    True
    >>> damage_severity("bent", Severity.MODERATE).name
    'MODERATE'
    """
    if severity is Severity.NONE:
        return None
    if kind in GONE:
        return Severity.SEVERE
    least = Severity.SEVERE if kind in WEAR else Severity.MODERATE
    return severity if severity >= least else None


@dataclass(frozen=True, slots=True)
class TimesTaken:
    """
    How long a number of repairs took, from the day they counted from. [d].

    Both are ``None`` where there is nothing to count.
    """

    number: int
    median_d: float | None
    most_d: float | None


def times_taken(days: Sequence[int]) -> TimesTaken:
    """
    Return the median and the 90th percentile of whole days.

    Parameters
    ----------
    days : sequence of int
        Days taken by each, in any order. [d]

    Returns
    -------
    TimesTaken
        The median lies halfway between the two in the middle of an even number; the 90th
        percentile is the least number of days within which at least nine in ten were done.

    Raises
    ------
    ValueError
        If a number of days is not finite.

    Examples
    --------
    >>> times_taken([0, 1, 1, 2, 9])
    TimesTaken(number=5, median_d=1.0, most_d=9.0)
    >>> times_taken([])
    TimesTaken(number=0, median_d=None, most_d=None)
    """
    if not days:
        return TimesTaken(0, None, None)
    if not all(math.isfinite(each) for each in days):
        msg = f"days are finite numbers, not {list(days)}"
        raise ValueError(msg)
    taken = np.asarray(days, dtype=float)
    return TimesTaken(
        len(days),
        float(np.median(taken)),
        float(np.quantile(taken, 0.9, method="inverted_cdf")),
    )
