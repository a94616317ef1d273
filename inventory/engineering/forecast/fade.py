"""Colour fade as an end of its own: by which age faces of a colour were seen to have faded."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from inventory.engineering.forecast.hazard import (
    LEAST_AT_RISK,
    SurvivalCurve,
    kaplan_meier,
    watched_from,
)
from inventory.engineering.forecast.observations import TruthArray
from inventory.engineering.inspection.student import FloatArray
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import OutOfRangeError

LEAST_FADED = 5  # common practice, no source: below it the agency's own life is what there is
EARLY_SHARE = 0.05
LATE_SHARE = 0.95
_KEEPS_ITS_HUE = (Color.WHITE.value, Color.BLACK.value)


class FadeSource(StrEnum):
    """Where the life of a colour comes from."""

    OWN = "own"
    AGENCY = "agency"


@dataclass(frozen=True, slots=True)
class FadeLife:
    """
    By which age faces of a colour fade.

    ``years`` is the median, or the agency's life; ``early_years`` and ``late_years`` are where
    5 % and 95 % have faded. ``None``: not reached in what was seen. The bounds are 95 % ones.
    """

    years: float | None
    source: FadeSource
    basis: str
    early_years: float | None = None
    late_years: float | None = None
    low_years: float | None = None
    high_years: float | None = None
    early_low_years: float | None = None
    early_high_years: float | None = None
    faded_count: int = 0
    seen_count: int = 0
    begins_at_years: float = 0.0
    ends_at_years: float | None = None
    ages_years: tuple[float, ...] = field(default=(), repr=False)
    share_left: tuple[float, ...] = field(default=(), repr=False)

    def due_years(self, share: float, *, unfaded_at_years: float = 0.0) -> float | None:
        """
        Return the age by which a share of faces that had not faded at an age will have.

        By an agency's life it is that life. ``None``: not reached in what was seen.

        Raises
        ------
        OutOfRangeError
            If the share is not over 0 and under 1.

        Examples
        --------
        >>> seen = fade_life([0.0] * 10, list(range(6, 16)), [True] * 10, color_words="red")
        >>> seen.due_years(0.2), seen.due_years(0.2, unfaded_at_years=10.5)
        (7.0, 11.0)
        """
        if not 0 < share < 1:
            msg = f"The share faded is {share:g}; it is over 0 and under 1."
            raise OutOfRangeError(msg)
        if self.source is FadeSource.AGENCY:
            return self.years
        ages, left = np.array(self.ages_years), np.array(self.share_left)
        before = int(np.searchsorted(ages, unfaded_at_years, side="right")) - 1
        now = left[before] if before >= 0 else 1.0
        reached = np.flatnonzero(
            (left <= now * (1 - share) + 1e-12) & (ages > unfaded_at_years)
        )
        return float(ages[reached[0]]) if now > 0 and len(reached) else None


def fade_life(
    entry_years: npt.ArrayLike,
    exit_years: npt.ArrayLike,
    is_faded: npt.ArrayLike,
    *,
    color_words: str,
    least_at_risk: int = LEAST_AT_RISK,
) -> FadeLife | None:
    """
    Return by which age faces of one colour faded, or nothing where too few were seen to.

    Parameters
    ----------
    entry_years, exit_years : array of float
        Ages at which each came on record, and was seen faded, or last seen not faded. [year]
    is_faded : array of bool
        Whether it was seen faded, moderately or severely, or was taken down for it.
    color_words : str
        What the faces are, for the basis: such as ``Type III red``.

    Returns
    -------
    FadeLife or None
        ``None`` with fewer than five faded faces.

    Raises
    ------
    OutOfRangeError
        As :func:`~inventory.engineering.forecast.hazard.kaplan_meier`.

    Examples
    --------
    >>> fade_life([0.0] * 8, [9.0] * 8, [True] * 4 + [False] * 4, color_words="red") is None
    True
    """
    faded = np.atleast_1d(np.asarray(is_faded, dtype=np.bool_))
    if int(faded.sum()) < LEAST_FADED:
        return None
    entry = np.atleast_1d(np.asarray(entry_years, dtype=np.float64))
    leave = np.atleast_1d(np.asarray(exit_years, dtype=np.float64))
    start = watched_from(entry, leave, min(least_at_risk, len(entry)))
    if start is None:
        return None
    curve = curve_from(entry, leave, faded, start)
    if curve is None or curve.event_count < LEAST_FADED:
        return None
    median, early, late = (curve.quantile(s) for s in (0.5, EARLY_SHARE, LATE_SHARE))
    seen = int((leave > start).sum())
    from_words = f" from {start:.1f} years of age on" if start else ""
    return FadeLife(
        years=median.years,
        source=FadeSource.OWN,
        basis=(
            f"{curve.event_count:,} of {seen:,} own {color_words} faces were seen faded, "
            f"watched{from_words} up to {curve.ends_at_years:.1f} years."
        ),
        early_years=early.years,
        late_years=late.years,
        low_years=median.low_years,
        high_years=median.high_years,
        early_low_years=early.low_years,
        early_high_years=early.high_years,
        faded_count=curve.event_count,
        seen_count=seen,
        begins_at_years=start,
        ends_at_years=curve.ends_at_years,
        ages_years=tuple(curve.ages_years.tolist()),
        share_left=tuple(curve.share_left.tolist()),
    )


def curve_from(
    entry_years: FloatArray, exit_years: FloatArray, is_lost: TruthArray, start_years: float
) -> SurvivalCurve | None:
    """
    Return the share left of faces that had reached an age; nothing where none were watched.

    Examples
    --------
    >>> entry, leave, lost = np.zeros(2), np.array([1.0, 5.0]), np.array([True, True])
    >>> curve_from(entry, leave, lost, 2.0).ages_years.tolist()
    [5.0]
    """
    kept = exit_years > start_years
    if not kept.any():
        return None
    return kaplan_meier(
        np.maximum(entry_years[kept], start_years), exit_years[kept], is_lost[kept]
    )


def fading_color(colors: Iterable[str]) -> str:
    """
    Return the colour that a face's fading is put down to, its background first.

    What was seen does not say which colour faded. White and black have no hue to lose, so it is
    the first colour that has one, else the first.

    Examples
    --------
    >>> [fading_color(each) for each in (["white", "red"], ["green", "white"], ["white"])]
    ['red', 'green', 'white']
    """
    known = [color for color in colors if color]
    return next((color for color in known if color not in _KEEPS_ITS_HUE), (known or [""])[0])
