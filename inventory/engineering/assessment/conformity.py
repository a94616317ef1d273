"""How probable it is that a true value is within its limits, given a result and its u."""

import numpy as np

from inventory.engineering.inspection.student import FloatArray, WholeArray, student_probability

_KNOWN = np.array([np.inf])


def probability_at_least(
    value: FloatArray,
    limit: FloatArray | float,
    standard_uncertainty: FloatArray,
    dof: FloatArray = _KNOWN,
) -> FloatArray:
    """
    Return the probability that a true value is at or above a lower limit.

    Parameters
    ----------
    value : array of float
        Results.
    limit : array of float or float
        Lower limits, in the unit of the results.
    standard_uncertainty : array of float
        0 or more, in the same unit; where it is 0 the probability is 0 or 1.
    dof : array of float
        Effective degrees of freedom, 1 or more; infinite (the default) gives the normal law.

    Returns
    -------
    array of float
        Φ((y − T)/u), or Student's distribution function of the same deviation for the whole
        part of the degrees of freedom. 0 to 1.

    References
    ----------
    .. [1] JCGM 106:2012, 7.3: conformance probability for one-sided intervals.
    .. [2] JCGM 101:2008, 6.4.9: t-distribution for finite degrees of freedom.

    Examples
    --------
    >>> array = lambda number: np.array([number])
    >>> probability_at_least(array(60.0), array(50.0), array(4.8)).round(5).tolist()
    [0.98139]
    """
    difference = value - limit
    certain = np.where(difference >= 0, np.inf, -np.inf)
    deviation = np.divide(
        difference, standard_uncertainty, out=certain, where=standard_uncertainty > 0
    )
    return student_probability(deviation, np.broadcast_to(dof, deviation.shape))


def probability_at_most(
    value: FloatArray,
    limit: FloatArray | float,
    standard_uncertainty: FloatArray,
    dof: FloatArray = _KNOWN,
) -> FloatArray:
    """
    Return the probability that a true value is at or below an upper limit.

    Parameters, result and references are those of :func:`probability_at_least`.

    Examples
    --------
    >>> array = lambda number: np.array([number])
    >>> probability_at_most(array(-5.47), array(-5.40), array(0.05)).round(3).tolist()
    [0.919]
    """
    return probability_at_least(-value, -limit, standard_uncertainty, dof)


def probability_within(
    value: FloatArray,
    lower_limit: FloatArray | float,
    upper_limit: FloatArray | float,
    standard_uncertainty: FloatArray,
    dof: FloatArray = _KNOWN,
) -> FloatArray:
    """
    Return the probability that a true value is within two limits.

    Parameters, result and references are those of :func:`probability_at_least`; the lower
    limit is not over the upper.

    Examples
    --------
    >>> array = lambda number: np.array([number])
    >>> probability_within(
    ...     array(13.6), array(12.5), array(16.3), array(1.8)
    ... ).round(3).tolist()
    [0.663]
    """
    above = probability_at_least(value, lower_limit, standard_uncertainty, dof)
    below = probability_at_most(value, upper_limit, standard_uncertainty, dof)
    return np.asarray(np.maximum(above + below - 1, 0.0), dtype=np.float64)


def probability_bounds(
    probabilities: FloatArray, starts: WholeArray
) -> tuple[FloatArray, FloatArray]:
    """
    Return the least and the greatest probability that all elements of each sign meet.

    The elements of a sign share instrument, session and weather, so that their probabilities
    may not be multiplied; whatever they share, the probability that all meet lies within these
    bounds.

    Parameters
    ----------
    probabilities : array of float
        Of the elements of all signs, sign after sign, 0 to 1.
    starts : array of int
        Where the elements of each sign begin: rising, the first 0, each sign with one or more.

    Returns
    -------
    tuple of two arrays of float
        max(0, 1 − Σ(1 − pᵢ)) and min pᵢ of each sign.

    References
    ----------
    .. [1] Inequalities of Boole and Fréchet, as in any textbook of probability.

    Examples
    --------
    >>> low, high = probability_bounds(np.array([0.98, 0.95, 0.5]), np.array([0, 2]))
    >>> low.round(2).tolist(), high.tolist()
    ([0.93, 0.5], [0.95, 0.5])
    """
    highest = np.minimum.reduceat(probabilities, starts)
    lowest = 1 - np.add.reduceat(1 - probabilities, starts)
    return np.clip(lowest, 0.0, highest), highest
