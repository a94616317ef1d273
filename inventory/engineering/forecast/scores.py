"""How good forecasts of readings were: coverage, bias, CRPS and Brier score."""

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, ndtr

from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

CONFIDENCE = 0.95
TENTHS = 10


def crps_normal(mean: FloatArray, sd: FloatArray, seen: FloatArray) -> FloatArray:
    """
    Return the continuous ranked probability score of normal forecasts.

    Parameters
    ----------
    mean, sd : array of float
        Of each forecast; the standard deviation is over 0.
    seen : array of float
        What came, in the same unit.

    Returns
    -------
    array of float
        In that unit; 0 is perfect. Of a forecast that is one value it is the plain distance.

    References
    ----------
    .. [1] T. Gneiting and A. E. Raftery (2007), Journal of the American Statistical Association
       102, 359-378, equation 21 in section 4.2 there (from memory).

    Examples
    --------
    >>> crps_normal(np.array([0.0]), np.array([1.0]), np.array([0.0])).round(6).tolist()
    [0.233695]
    """
    z = (seen - mean) / sd
    density = np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    return np.asarray(sd * (z * (2 * ndtr(z) - 1) + 2 * density - 1 / np.sqrt(np.pi)))


def crps_log_normal(log_mean: FloatArray, log_sd: FloatArray, seen: FloatArray) -> FloatArray:
    """
    Return the continuous ranked probability score of forecasts whose logarithm is normal.

    Parameters
    ----------
    log_mean, log_sd : array of float
        Of the logarithm; the standard deviation is over 0.
    seen : array of float
        What came, not its logarithm; over 0.

    Returns
    -------
    array of float
        In the unit of ``seen``. With X and X' two draws it is E|X − seen| − E|X − X'|/2; both
        means are known of a log-normal.

    Examples
    --------
    >>> crps_log_normal(np.array([0.0]), np.array([1.0]), np.array([1.0])).round(6).tolist()
    [0.267405]
    """
    omega = (np.log(seen) - log_mean) / log_sd
    whole = np.exp(log_mean + 0.5 * log_sd * log_sd)
    apart = ndtr(omega - log_sd) + ndtr(log_sd / np.sqrt(2.0)) - 1
    return np.asarray(seen * (2 * ndtr(omega) - 1) - 2 * whole * apart)


@dataclass(frozen=True, slots=True)
class Share:
    """A share of so many, with the exact bounds within which the true one lies."""

    count: int
    of: int
    share: float
    low: float
    high: float


def exact_share(count: int, of: int) -> Share:
    """
    Return a share with its exact 95 % bounds.

    The bounds take the ``of`` cases as independent. Readings of one sign, or of one day, are
    not quite; the true bounds are then somewhat wider.

    Parameters
    ----------
    count : int
        How many did, 0 to ``of``.
    of : int
        Of how many, 1 or more.

    Raises
    ------
    OutOfRangeError
        If the numbers are outside these bounds.

    References
    ----------
    .. [1] C. J. Clopper and E. S. Pearson (1934), Biometrika 26, 404-413 (from memory).

    Examples
    --------
    >>> nine_of_ten = exact_share(9, 10)
    >>> round(nine_of_ten.low, 4), round(nine_of_ten.high, 4)
    (0.555, 0.9975)
    """
    if of < 1 or not 0 <= count <= of:
        msg = f"{count} of {of} is no share; the first is 0 or more and at most the second."
        raise OutOfRangeError(msg)
    tail = (1 - CONFIDENCE) / 2
    low = 0.0 if count == 0 else float(betaincinv(count, of - count + 1, tail))
    high = 1.0 if count == of else float(betaincinv(count + 1, of - count, 1 - tail))
    return Share(count, of, count / of, low, high)


def brier(probability: FloatArray, happened: FloatArray) -> FloatArray:
    """
    Return the squared distance of each stated probability from what came, 0 or 1.

    References
    ----------
    .. [1] G. W. Brier (1950), Monthly Weather Review 78, 1-3 (from memory).

    Examples
    --------
    >>> brier(np.array([0.9, 0.2]), np.array([1.0, 0.0])).round(4).tolist()
    [0.01, 0.04]
    """
    return np.asarray((probability - happened) ** 2)


def tenths(values: FloatArray) -> WholeArray:
    """
    Return how many values lie in each tenth from 0 to 1.

    Examples
    --------
    >>> tenths(np.array([0.0, 0.05, 0.1, 0.95, 1.0])).tolist()
    [2, 1, 0, 0, 0, 0, 0, 0, 0, 2]
    """
    return np.bincount(tenth_of(values), minlength=TENTHS)


def tenth_of(values: FloatArray) -> WholeArray:
    """Return in which tenth, 0 to 9, each value from 0 to 1 lies."""
    # 0.1 · 3 is a hair over 0.3: a value that is a tenth to nine digits is that tenth.
    places = np.floor(np.asarray(values) * TENTHS + 1e-9).astype(np.int64)
    return np.clip(places, 0, TENTHS - 1)


@dataclass(frozen=True, slots=True)
class BrierParts:
    """
    A Brier score taken apart: score = reliability − resolution + uncertainty + within.

    ``reliability`` is 0 when what is said to be 30 % probable comes in 30 %; ``resolution``
    is how far the groups' shares differ from the whole; ``uncertainty`` is that of the whole;
    ``within`` is what grouping by tenths leaves.
    """

    score: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float


def brier_parts(probability: FloatArray, happened: FloatArray) -> BrierParts:
    """
    Return the Brier score taken apart by tenths of the stated probability.

    Raises
    ------
    OutOfRangeError
        If there is no forecast.

    References
    ----------
    .. [1] A. H. Murphy (1973), Journal of Applied Meteorology 12, 595-600 (from memory).

    Examples
    --------
    >>> parts = brier_parts(np.array([0.2, 0.2, 0.8, 0.8]), np.array([0.0, 1.0, 1.0, 1.0]))
    >>> round(parts.score, 4), round(parts.reliability, 4), round(parts.resolution, 4)
    (0.19, 0.065, 0.0625)
    """
    if not len(probability):
        msg = "There is no forecast to score; give one or more."
        raise OutOfRangeError(msg)
    place = tenth_of(probability)
    number = np.bincount(place, minlength=TENTHS)
    is_used = number > 0
    weight = number[is_used] / len(probability)
    said = np.bincount(place, probability, TENTHS)[is_used] / number[is_used]
    came = np.bincount(place, happened, TENTHS)[is_used] / number[is_used]
    whole = float(happened.mean())
    score = float(brier(probability, happened).mean())
    reliability = float(weight @ (said - came) ** 2)
    resolution = float(weight @ (came - whole) ** 2)
    uncertainty = whole * (1 - whole)
    return BrierParts(
        score,
        reliability,
        resolution,
        uncertainty,
        score - reliability + resolution - uncertainty,
    )
