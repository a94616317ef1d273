"""Losses beside decline: how many faces are left at an age, and how many are lost a year."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri
from scipy.stats import chi2

from inventory.engineering.forecast.observations import MAXIMUM_AGE_YEARS, TruthArray
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

CONFIDENCE = 0.95
LEAST_AT_RISK = 10  # common practice, no source: before so many were watched, no curve


@dataclass(frozen=True, slots=True)
class Quantile:
    """The age by which a share is gone, with its bounds; ``None``: not reached."""

    share: float
    years: float | None
    low_years: float | None
    high_years: float | None


@dataclass(frozen=True, slots=True, eq=False)
class SurvivalCurve:
    """
    The share left at each age, of faces watched from some age on.

    Parameters
    ----------
    ages_years : array of float
        The ages at which one or more were lost, ascending. [year]
    share_left, low, high : array of float
        From that age on, until the next; with its bounds.
    at_risk, lost : array of int
        Faces watched just before the age, and those lost at it.
    begins_at_years, ends_at_years : float
        The first age watched, from which the shares count, and the last. [year]
    """

    ages_years: FloatArray
    share_left: FloatArray
    low: FloatArray
    high: FloatArray
    at_risk: WholeArray
    lost: WholeArray
    begins_at_years: float
    ends_at_years: float

    @property
    def event_count(self) -> int:
        """Return how many were lost."""
        return int(self.lost.sum())

    def share_left_at(self, age_years: float) -> tuple[float, float, float]:
        """
        Return the share left at an age, and its bounds; 1 before the first was lost.

        Raises
        ------
        OutOfRangeError
            If nothing was watched at that age.
        """
        if not self.begins_at_years <= age_years <= self.ends_at_years:
            msg = (
                f"Faces were watched from {self.begins_at_years:.1f} to "
                f"{self.ends_at_years:.1f} years of age; nothing is known of "
                f"{age_years:g} years."
            )
            raise OutOfRangeError(msg)
        place = int(np.searchsorted(self.ages_years, age_years, side="right")) - 1
        if place < 0:
            return 1.0, 1.0, 1.0
        return float(self.share_left[place]), float(self.low[place]), float(self.high[place])

    def quantile(self, share_gone: float) -> Quantile:
        """
        Return the age by which a share is gone: where the curve and its bounds come down to it.

        Raises
        ------
        OutOfRangeError
            If the share is not over 0 and under 1.

        References
        ----------
        .. [1] R. Brookmeyer and J. Crowley (1982), Biometrics 38, 29-41 (from memory).

        Examples
        --------
        >>> curve = kaplan_meier([0, 0, 0, 0], [2, 4, 6, 8], [True] * 4)
        >>> curve.quantile(0.5)
        Quantile(share=0.5, years=4.0, low_years=2.0, high_years=None)
        """
        if not 0 < share_gone < 1:
            msg = f"The share gone is {share_gone:g}; it is over 0 and under 1."
            raise OutOfRangeError(msg)
        found = [
            _first_at(self.ages_years, each, 1 - share_gone)
            for each in (self.share_left, self.low, self.high)
        ]
        return Quantile(share_gone, *found)


def kaplan_meier(
    entry_years: npt.ArrayLike, exit_years: npt.ArrayLike, is_lost: npt.ArrayLike
) -> SurvivalCurve:
    """
    Return the share left by age of faces that are known only from some age on.

    A face counts among those watched from after its entry to its exit. Its life before it came
    on record is not counted: faces that were lost before nobody recorded.

    Parameters
    ----------
    entry_years : array of float
        Age at which each came on record; 0 if that was when it was put up. [year]
    exit_years : array of float
        Age at which each was lost, taken down for another reason, or last watched; over the
        entry, at most 100. [year]
    is_lost : array of bool
        Whether it was lost then.

    Returns
    -------
    SurvivalCurve
        With 95 % bounds by Greenwood's variance on the scale of log(−log S). Where all that
        were watched were lost the share and its lower bound are 0, and its upper one is that of
        the age before.

    Raises
    ------
    OutOfRangeError
        If there is no face, arrays differ in length, or an age is outside these bounds.

    References
    ----------
    .. [1] E. L. Kaplan and P. Meier (1958), Journal of the American Statistical Association 53,
       457-481; Klein and Moeschberger, *Survival Analysis*, sections 4.3, 4.6 (from memory).

    Examples
    --------
    Four faces, the third on record from its third year on; one is lost at 2, one at 5:

    >>> curve = kaplan_meier([0, 0, 3, 0], [2, 5, 6, 8], [True, True, False, False])
    >>> curve.at_risk.tolist(), curve.share_left.round(4).tolist()
    ([3, 3], [0.6667, 0.4444])
    """
    entry, leave, lost = _checked(entry_years, exit_years, is_lost)
    ages, count = np.unique(leave[lost], return_counts=True)
    at_risk = np.searchsorted(np.sort(entry), ages, side="left") - np.searchsorted(
        np.sort(leave), ages, side="left"
    )
    share = np.asarray(np.cumprod(1.0 - count / at_risk), dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        greenwood = np.cumsum(count / (at_risk * (at_risk - count)))
        spread = np.sqrt(greenwood) / -np.log(share)
        factor = np.exp(ndtri(0.5 + CONFIDENCE / 2) * spread)
        low, high = share**factor, share ** (1 / factor)
    is_none_left = share <= 0
    if is_none_left.any():
        first = int(np.argmax(is_none_left))
        low[first:] = 0.0
        high[first:] = high[first - 1] if first else 1.0
    return SurvivalCurve(
        ages, share, low, high, at_risk, count, float(entry.min()), float(leave.max())
    )


def watched_from(
    entry_years: npt.ArrayLike, exit_years: npt.ArrayLike, least: int = LEAST_AT_RISK
) -> float | None:
    """
    Return the first age at which so many faces were watched; ``None``: never.

    With faces known only from some age on, the first few can take the whole curve to 0; it is
    begun where there are some to speak of, and is then of faces that had reached that age.

    Examples
    --------
    >>> watched_from([0, 2, 3], [1, 9, 9], least=2)
    3.0
    """
    entry, leave, _lost = _checked(entry_years, exit_years, np.zeros(np.size(exit_years), bool))
    starts = np.unique(entry)
    watched = np.searchsorted(np.sort(entry), starts, side="right") - np.searchsorted(
        np.sort(leave), starts, side="right"
    )
    enough = np.flatnonzero(watched >= least)
    return float(starts[enough[0]]) if len(enough) else None


@dataclass(frozen=True, slots=True)
class LossRate:
    """
    Losses a sign-year, taken as the same at every age, with bounds.

    ``low_per_year`` is 0 where nothing was lost; all are ``None`` where nothing was watched.
    """

    lost: int
    sign_years: float
    per_year: float | None
    low_per_year: float | None
    high_per_year: float | None

    def share_left(self, years: float) -> float | None:
        """
        Return the share left after so many years: exp(−rate · years).

        Examples
        --------
        >>> loss_rate(12, 400.0).share_left(10.0)
        0.740...
        """
        return None if self.per_year is None else float(np.exp(-self.per_year * years))


def loss_rate(lost: int, sign_years: float) -> LossRate:
    """
    Return the losses a sign-year with the exact Poisson interval of 95 %.

    Parameters
    ----------
    lost : int
        Faces lost, 0 or more.
    sign_years : float
        Sum of the years that faces were watched, 0 or more. [year]

    Raises
    ------
    OutOfRangeError
        If a figure is negative, or something was lost in no time.

    References
    ----------
    .. [1] F. Garwood (1936), Biometrika 28, 437-442 (from memory).

    Examples
    --------
    >>> rate = loss_rate(12, 400.0)
    >>> rate.per_year, round(rate.low_per_year, 4), round(rate.high_per_year, 4)
    (0.03, 0.0155, 0.0524)
    """
    if lost < 0 or not 0 <= sign_years < np.inf or (lost and not sign_years):
        msg = (
            f"{lost} lost in {sign_years:g} sign-years is no rate; both are 0 or more, and "
            "what was lost was watched for some time."
        )
        raise OutOfRangeError(msg)
    if not sign_years:
        return LossRate(lost, sign_years, None, None, None)
    tail = (1 - CONFIDENCE) / 2
    low = float(chi2.ppf(tail, 2 * lost)) / 2 if lost else 0.0
    high = float(chi2.ppf(1 - tail, 2 * lost + 2)) / 2
    return LossRate(lost, sign_years, lost / sign_years, low / sign_years, high / sign_years)


def yearly_share(rate_per_year: float) -> float:
    """
    Return the share lost within a year at a rate: 1 − exp(−rate).

    Examples
    --------
    >>> round(yearly_share(0.06866), 5)  # a third left after 16 years (NCHRP Synthesis 431)
    0.06636
    """
    return float(-np.expm1(-rate_per_year))


def share_left_of(yearly_share_lost: float, years: float) -> float:
    """
    Return the share left after so many years of which each takes the same share.

    Raises
    ------
    OutOfRangeError
        If the share is not from 0 to 1, or the years are negative.

    Examples
    --------
    >>> [round(share_left_of(0.0237, years), 4) for years in (10, 12, 15)]
    [0.7867, 0.7499, 0.6978]
    """
    if not 0 <= yearly_share_lost <= 1 or not years >= 0:
        msg = (
            f"A share of {yearly_share_lost:g} a year over {years:g} years is not possible; a "
            "share is from 0 to 1, and years are 0 or more."
        )
        raise OutOfRangeError(msg)
    return float((1 - yearly_share_lost) ** years)


def _first_at(ages: FloatArray, shares: FloatArray, level: float) -> float | None:
    # Rounding must not put off the age at which, say, half is left of four.
    reached = np.flatnonzero(shares <= level + 1e-12)
    return float(ages[reached[0]]) if len(reached) else None


def _checked(
    entry_years: npt.ArrayLike, exit_years: npt.ArrayLike, is_lost: npt.ArrayLike
) -> tuple[FloatArray, FloatArray, TruthArray]:
    entry = np.atleast_1d(np.asarray(entry_years, dtype=np.float64))
    leave = np.atleast_1d(np.asarray(exit_years, dtype=np.float64))
    lost = np.atleast_1d(np.asarray(is_lost, dtype=np.bool_))
    if not len(entry) or not len(entry) == len(leave) == len(lost):
        msg = (
            f"There are {len(entry)} entries, {len(leave)} exits and {len(lost)} marks of "
            "loss; give one of each for every face, and one face or more."
        )
        raise OutOfRangeError(msg)
    is_right = (entry >= 0) & (leave > entry) & (leave <= MAXIMUM_AGE_YEARS)
    if not is_right.all():
        place = int(np.argmin(is_right))
        msg = (
            f"Face {place} is watched from {entry[place]:g} to {leave[place]:g} years of age; "
            f"that begins at 0 or later and ends later than it begins, by "
            f"{MAXIMUM_AGE_YEARS:g} at most."
        )
        raise OutOfRangeError(msg)
    return entry, leave, lost
