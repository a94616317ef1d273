"""What a further reading is worth: how far it cuts wrong decisions to keep or replace a sign.

The decision of a year is the agency's own rule: a sign is replaced that is as probable to be
below its level at the end of the year as the due probability. That rule is the one of least
loss when keeping a sign that is below costs 1 and replacing one that is good costs
δ / (1 − δ), δ being the due probability; these two losses are used here, so that a reading is
never worth less than nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr, ndtri

from inventory.engineering.forecast.fit import CohortFit, Scale
from inventory.engineering.forecast.observations import UNKNOWN, TruthArray
from inventory.engineering.forecast.predict import both_below
from inventory.engineering.forecast.states import (
    KnownOfSigns,
    SignStates,
    mean_path,
    path_variance,
)
from inventory.engineering.inspection.student import FloatArray
from inventory.errors import OutOfRangeError

# What a wrong decision weighs by safety class: an assumption, no published source.
CLASS_WEIGHTS: Mapping[int, float] = MappingProxyType({1: 8.0, 2: 4.0, 3: 2.0, 4: 1.0})
# log R_A of signs of which nothing is known, not even their age: an assumption.
UNREAD_SD = 0.4
_SURE = 1e-9
_NO_NEWS = 1e-6  # a correlation as small as this tells nothing


@dataclass(frozen=True, slots=True, eq=False)
class ReadingValue:
    """
    What a reading does for decisions: arrays, an entry per sign and year.

    Parameters
    ----------
    loss_now : array of float
        Expected loss of deciding by what is known now.
    loss_after : array of float
        Expected loss of deciding once the reading is known; at most ``loss_now``.
    flip : array of float
        Chance that the reading turns the decision round.
    is_replaced_now : array of bool
        What would be decided now.
    """

    loss_now: FloatArray
    loss_after: FloatArray
    flip: FloatArray
    is_replaced_now: TruthArray

    @property
    def value(self) -> FloatArray:
        """Return the wrong decisions the reading takes away, 0 or more."""
        return np.asarray(self.loss_now - self.loss_after)


@dataclass(frozen=True, slots=True)
class ReadingNoise:
    """
    How far one visit's mean lies from what the sign truly returns.

    Parameters
    ----------
    residual_sd : float
        Dirt, weather and where the instrument was put; on the scale of the fit.
    session_sd : float
        Shared by the readings of one instrument and day; on the same scale.
    repeatability_rel : float
        The instrument's, as a share of one reading.
    reading_count : int
        Readings the mean is of.
    unit : float
        1 where the fit is of log R_A, else the R_A the shares are of. [cd/lx/m²]

    Raises
    ------
    OutOfRangeError
        If a figure is negative or the count is under 1.

    Examples
    --------
    >>> round(ReadingNoise(0.08, 0.03, 0.05, 4).variance, 6)
    0.007925
    """

    residual_sd: float
    session_sd: float = 0.0
    repeatability_rel: float = 0.0
    reading_count: int = 4
    unit: float = 1.0

    def __post_init__(self) -> None:
        for name in ("residual_sd", "session_sd", "repeatability_rel", "unit"):
            value = getattr(self, name)
            if not 0 <= value < np.inf:
                msg = f"{name} is {value:g}; it is 0 or more for a reading to be weighed."
                raise OutOfRangeError(msg)
        if self.reading_count < 1:
            msg = f"A visit of {self.reading_count} readings tells nothing; it has 1 or more."
            raise OutOfRangeError(msg)

    @property
    def variance(self) -> float:
        """Return the variance of a visit's mean about the truth, on the scale of the fit."""
        share = self.repeatability_rel * self.unit
        return self.residual_sd**2 + self.session_sd**2 + share**2 / self.reading_count


@dataclass(frozen=True, slots=True, eq=False)
class OpenDecisions:
    """
    How open the decisions of signs are, an entry per sign and year.

    ``probability_below`` is that the sign is below its level at the end of the year;
    ``correlation`` is that of a reading now with what it returns then.
    """

    probability_below: FloatArray
    correlation: FloatArray


def open_decisions(
    fit: CohortFit,
    states: FloatArray,
    *,
    age_years: FloatArray,
    is_age_known: TruthArray,
    level_cd_lx_m2: FloatArray,
    years_ahead: FloatArray,
    noise: ReadingNoise,
) -> OpenDecisions:
    """
    Return how open decisions are, from the stored states of signs of one cohort.

    Parameters
    ----------
    fit : CohortFit
        Of their cohort, as fitted or as stored.
    states : array of float, (n, 5)
        Level now, slope, and their variances with the covariance between, as forecast.
    age_years : array of float, (n,)
        What "now" was in that forecast. [year]
    is_age_known : array of bool, (n,)
        Whether the age counts from the day the sign was put up.
    level_cd_lx_m2 : array of float, (n,)
        The level each must keep, over 0. [cd/lx/m²]
    years_ahead : array of float, (years,)
        From "now" to the end of each year decided on, 0 or more. [year]
    noise : ReadingNoise
        Of the reading, taken now.

    Raises
    ------
    OutOfRangeError
        If arrays differ in length or a level or variance is out of bounds.

    Examples
    --------
    >>> from inventory.engineering.forecast.fit import fit_cohort
    >>> from inventory.engineering.forecast.observations import Observations
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(two, scale=Scale.LOG, shape=LINEAR)
    >>> found = open_decisions(
    ...     fit, np.array([[5.3, -0.06, 0.0225, 0.0, 0.0004]]), age_years=np.array([6.0]),
    ...     is_age_known=np.array([True]), level_cd_lx_m2=np.array([160.0]),
    ...     years_ahead=np.array([1.0, 2.0]), noise=ReadingNoise(0.08, 0.03, 0.05, 4))
    >>> found.probability_below.round(3).tolist(), found.correlation.round(3).tolist()
    ([[0.138, 0.25]], [[0.852, 0.831]])
    """
    lengths = {len(states), len(age_years), len(is_age_known), len(level_cd_lx_m2)}
    if len(lengths) > 1:
        msg = (
            f"States, ages and levels have {sorted(lengths)} entries; give one of each a sign."
        )
        raise OutOfRangeError(msg)
    if not ((level_cd_lx_m2 > 0) & np.isfinite(level_cd_lx_m2)).all():
        msg = f"A level is {np.min(level_cd_lx_m2):g}; it is over 0 cd/lx/m²."
        raise OutOfRangeError(msg)
    none = np.zeros((len(states), 0))
    level_now, slope, of_level, of_both, of_slope = states.T
    known = SignStates(level_now, slope, of_level, of_both, of_slope, none, none)
    signs = KnownOfSigns.of_fit(
        fit, np.full(len(states), UNKNOWN), is_age_known, age_years, None, None
    )
    correlation = reading_correlation(known, years_ahead, noise.variance)
    level = np.log(level_cd_lx_m2) if fit.scale is Scale.LOG else level_cd_lx_m2
    spread = np.sqrt(path_variance(known, years_ahead))
    distance = level - mean_path(fit, known, signs, years_ahead)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(spread > 0, distance / spread, np.where(distance > 0, np.inf, -np.inf))
    return OpenDecisions(ndtr(z).T, correlation)


def reading_correlation(
    states: SignStates, years_ahead: FloatArray, noise_variance: float
) -> FloatArray:
    """
    Return how closely a reading now goes with what each sign returns some years on.

    Parameters
    ----------
    states : SignStates
        Of n signs.
    years_ahead : array of float, (years,)
        0 or more. [year]
    noise_variance : float
        Of the reading about the truth.

    Returns
    -------
    array of float, (n, years)
        Correlation of the reading with the truth, −1 to 1; 0 where nothing is open.

    Raises
    ------
    OutOfRangeError
        If a variance is negative.
    """
    if (states.of_level < 0).any() or (states.of_slope < 0).any() or noise_variance < 0:
        msg = "A variance of signs or readings is negative; forecast the signs anew."
        raise OutOfRangeError(msg)
    t = years_ahead[:, None]
    common = states.of_level + t * states.of_both
    both = np.maximum(path_variance(states, years_ahead), 0.0) * (
        states.of_level + noise_variance
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        correlation = np.where(both > 0, common / np.sqrt(both), 0.0)
    return np.asarray(np.clip(correlation, -1.0, 1.0)).T


def value_of_reading(
    probability_below: FloatArray, correlation: FloatArray, *, due_probability: float
) -> ReadingValue:
    """
    Return what a reading is worth to the decisions of signs, in wrong decisions taken away.

    With z the normal quantile of the probability p, r the correlation and z_δ the quantile of
    the due probability δ, the sign is replaced after the reading when its forecast falls below
    k = (z − z_δ √(1 − r²)) / r standard deviations; then, with c = δ/(1 − δ) and Φ₂ the
    two-dimensional normal distribution, the loss is p − Φ₂(z, k; r) + c (Φ(k) − Φ₂(z, k; r)).

    Parameters
    ----------
    probability_below : array of float
        That each sign is below its level at the end of the year, 0 to 1.
    correlation : array of float
        Of the reading with what the sign returns then, −1 to 1; the same shape.
    due_probability : float
        0.01 to 0.99.

    Raises
    ------
    OutOfRangeError
        If a figure is outside these bounds or the shapes differ.

    References
    ----------
    .. [1] H. Raiffa and R. Schlaifer (1961), *Applied Statistical Decision Theory*, chapter 5:
       the expected value of sample information (from memory).

    Examples
    --------
    >>> chances, goes_with = np.array([0.0, 0.38]), np.array([0.9, 0.9])
    >>> found = value_of_reading(chances, goes_with, due_probability=0.2)
    >>> found.value.round(4).tolist(), found.flip.round(2).tolist()
    ([0.0, 0.0928], [0.0, 0.47])
    """
    p = np.asarray(probability_below, dtype=np.float64)
    r = np.abs(np.asarray(correlation, dtype=np.float64))
    if p.shape != r.shape:
        msg = f"Probabilities have shape {p.shape}, correlations {r.shape}; give the same."
        raise OutOfRangeError(msg)
    for name, values in (("probability", p), ("correlation", r)):
        if not ((values >= 0) & (values <= 1)).all():
            worst = values.ravel()[int(np.argmin(((values >= 0) & (values <= 1)).ravel()))]
            msg = f"A {name} is {worst:g}; it is at most 1, and a probability 0 or more."
            raise OutOfRangeError(msg)
    if not 0.01 <= due_probability <= 0.99:
        msg = f"The due probability is {due_probability:g}; it is from 0.01 to 0.99."
        raise OutOfRangeError(msg)
    cost = due_probability / (1 - due_probability)
    is_replaced = p >= due_probability
    now = np.where(is_replaced, cost * (1 - p), p)
    is_open = (r > _NO_NEWS) & (p > _SURE) & (p < 1 - _SURE)
    z = ndtri(np.where(is_open, p, 0.5))
    safe = np.where(is_open, r, 1.0)
    k = (z - ndtri(due_probability) * np.sqrt(1 - safe * safe)) / safe
    both = both_below(z, k, safe)
    replaced = ndtr(k)
    after = np.where(is_open, p - both + cost * (replaced - both), now)
    flip = np.where(is_replaced, 1 - replaced, replaced)
    return ReadingValue(
        loss_now=now,
        loss_after=np.clip(after, 0.0, now),
        flip=np.where(is_open, flip, 0.0),
        is_replaced_now=is_replaced,
    )


@dataclass(frozen=True, slots=True)
class DecisionWeights:
    """
    What a wrong decision weighs, by safety class. The defaults are an assumption.

    Parameters
    ----------
    of_class : mapping of int to float
        Over 0 for each of the classes 1 to 4.

    Raises
    ------
    OutOfRangeError
        If a class has no weight, or none over 0.

    Examples
    --------
    >>> DecisionWeights().of(np.array([1, 4])).tolist()
    [8.0, 1.0]
    """

    of_class: Mapping[int, float] = field(default_factory=lambda: CLASS_WEIGHTS)

    def __post_init__(self) -> None:
        for number in CLASS_WEIGHTS:
            weight = self.of_class.get(number, 0.0)
            if not 0 < weight < np.inf:
                msg = f"Class {number} weighs {weight:g}; a weight is over 0."
                raise OutOfRangeError(msg)

    def of(self, safety_class: npt.NDArray[np.int64]) -> FloatArray:
        """Return the weight of each sign by its class."""
        table = np.array([self.of_class[number] for number in sorted(CLASS_WEIGHTS)])
        places = np.asarray(safety_class, dtype=np.int64) - min(CLASS_WEIGHTS)
        if len(places) and not ((places >= 0) & (places < len(table))).all():
            msg = f"Safety classes are 1 to {len(table)}; {safety_class.max()} is none of them."
            raise OutOfRangeError(msg)
        return np.asarray(table[places])


def unread_correlation(noise_variance: float) -> float:
    """
    Return how closely the first reading of a sign of which nothing is known goes with it.

    Its R_A is taken to lie as widely as ``UNREAD_SD`` says (an assumption), so that one reading
    settles nearly all that is open.

    Examples
    --------
    >>> round(unread_correlation(0.0079), 3)
    0.976
    """
    return float(UNREAD_SD / np.sqrt(UNREAD_SD**2 + noise_variance))
