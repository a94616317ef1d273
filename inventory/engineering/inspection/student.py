"""
The normal and Student distributions as the methods use them, on arrays.

Degrees of freedom are cut down to a whole number before use, as JCGM 100:2008 G.4.1 allows and
H.1.6 does: the result is never narrower, and the distribution then has a closed form that a
phone can evaluate too (see docs/methods/uncertainty.md).
"""

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, ndtr, ndtri, stdtrit

FloatArray = npt.NDArray[np.float64]
WholeArray = npt.NDArray[np.int64]

# From here on Student is taken as normal: its 97.5 % quantile is then 0.012 % wider at most.
NORMAL_FROM_DOF = 10_000
_NORMAL = 0  # how whole_dof writes "normal"
_FAR = 1e100  # its square is still a number
_ROUNDING = 1.0 + 1e-9  # a whole number that arithmetic left just short of itself stays whole


def whole_dof(dof: FloatArray) -> WholeArray:
    """
    Return degrees of freedom cut down to whole numbers; 0 stands for the normal distribution.

    Parameters
    ----------
    dof : array of float
        One or more each; infinite where the uncertainty is stated, not estimated.

    Returns
    -------
    array of int
        1 to 9,999, or 0 from 10,000 on.

    References
    ----------
    .. [1] JCGM 100:2008, G.4.1 and H.1.6 (16.7 degrees of freedom are used as 16).

    Examples
    --------
    >>> whole_dof(np.array([3.0, 16.7, 9_999.9, np.inf])).tolist()
    [3, 16, 9999, 0]
    """
    capped = np.minimum(dof, float(NORMAL_FROM_DOF))
    whole = np.floor(capped * _ROUNDING).astype(np.int64)
    whole[whole >= NORMAL_FROM_DOF] = _NORMAL
    return whole


def student_probability(deviation: FloatArray, dof: FloatArray) -> FloatArray:
    """
    Return the probability that a Student variable is at most a deviation.

    Parameters
    ----------
    deviation : array of float
        In standard uncertainties; may be infinite.
    dof : array of float
        One or more each, see :func:`whole_dof`. Same length.

    Returns
    -------
    array of float
        0 to 1; the normal distribution function where ``dof`` is 10,000 or more.

    References
    ----------
    .. [1] JCGM 101:2008, 6.4.9: a quantity known by its estimate, standard uncertainty and
       degrees of freedom has a scaled and shifted t-distribution.
    .. [2] M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions (1964), 26.7.1.

    Examples
    --------
    >>> student_probability(np.array([1.0, 1.0]), np.array([1.0, np.inf])).round(6).tolist()
    [0.75, 0.841345]
    """
    whole = whole_dof(dof)
    is_normal = whole == _NORMAL
    if is_normal.all():
        return np.asarray(ndtr(deviation), dtype=np.float64)
    if not is_normal.any():
        return _student(deviation, whole)
    probability = np.empty(len(deviation))
    probability[is_normal] = ndtr(deviation[is_normal])
    is_student = ~is_normal
    probability[is_student] = _student(deviation[is_student], whole[is_student])
    return probability


def student_quantile(probability: float, dof: FloatArray) -> FloatArray:
    """
    Return the deviation that a Student variable stays at or below with a given probability.

    Parameters
    ----------
    probability : float
        Over 0 and under 1.
    dof : array of float
        One or more each, see :func:`whole_dof`.

    Returns
    -------
    array of float
        In standard uncertainties.

    References
    ----------
    .. [1] JCGM 100:2008, Table G.2.

    Examples
    --------
    >>> student_quantile(0.975, np.array([3.0, np.inf])).round(4).tolist()
    [3.1824, 1.96]
    """
    whole = whole_dof(dof)
    used = np.flatnonzero(np.bincount(whole, minlength=1))
    quantile_of = np.zeros(NORMAL_FROM_DOF)
    quantile_of[used] = stdtrit(np.maximum(used, 1), probability)
    quantile_of[_NORMAL] = ndtri(probability)
    return quantile_of[whole]


def _student(deviation: FloatArray, whole: WholeArray) -> FloatArray:
    """
    Return Student's distribution function, to 1e-14 also next to 0.

    The usual way through dof/(dof + t²) loses up to 3e-9 there, for it rounds to 1.
    """
    squared = np.square(np.clip(deviation, -_FAR, _FAR))
    two_sided = betainc(0.5, whole / 2, squared / (whole + squared))
    return np.asarray(0.5 + np.copysign(two_sided, deviation) / 2, dtype=np.float64)
