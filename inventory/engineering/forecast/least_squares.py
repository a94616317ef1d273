"""Weighted least squares by orthogonal factors, checked on certified figures."""

from dataclasses import dataclass

import numpy as np

from inventory.engineering.inspection.student import FloatArray
from inventory.errors import OutOfRangeError


@dataclass(frozen=True, slots=True, eq=False)
class LeastSquares:
    """
    A straight fit y = X·b: coefficients, their standard deviations, and the residual's.

    ``r_squared`` is taken about the mean, so it means something only with a constant column.
    """

    coefficients: FloatArray
    standard_deviations: FloatArray
    residual_sd: float
    r_squared: float
    dof: int


def fit_least_squares(
    design: FloatArray, response: FloatArray, weights: FloatArray | None = None
) -> LeastSquares:
    """
    Return the weighted least-squares fit of a response on the columns of a design.

    Parameters
    ----------
    design : array of float, (n, p)
        One row per observation; p less than n.
    response : array of float, (n,)
        What is fitted.
    weights : array of float, (n,), optional
        Inverse variances up to a common factor, over 0; left out: all the same.

    Raises
    ------
    OutOfRangeError
        If there are no more observations than columns, or the columns depend on each other.

    References
    ----------
    .. [1] G. H. Golub and C. F. Van Loan, *Matrix Computations*, section 5.3 (QR method;
       section number from memory).
    .. [2] NIST Statistical Reference Datasets, Norris: the figures of the tests.

    Examples
    --------
    >>> ages = np.array([0.0, 1.0, 2.0, 3.0])
    >>> line = fit_least_squares(np.stack([np.ones(4), ages], 1), 250.0 - 12.0 * ages)
    >>> line.coefficients.round(9).tolist()
    [250.0, -12.0]
    """
    count, columns = design.shape
    if count <= columns:
        msg = (
            f"{count} observations do not fit {columns} coefficients and say how far off they "
            f"are; {columns + 1} are needed at least."
        )
        raise OutOfRangeError(msg)
    root = np.ones(count) if weights is None else np.sqrt(weights)
    q, r = np.linalg.qr(design * root[:, None])
    scale = np.abs(np.diag(r))
    if scale.min() <= np.finfo(float).eps * count * scale.max():
        msg = (
            "The columns of the fit depend on each other (all readings at one age, perhaps); "
            "readings at two ages or more are needed."
        )
        raise OutOfRangeError(msg)
    coefficients = np.linalg.solve(r, q.T @ (response * root))
    residual = (response - design @ coefficients) * root
    dof = count - columns
    residual_sd = float(np.sqrt(residual @ residual / dof))
    inverse = np.linalg.inv(r)
    about = (response - np.average(response, weights=weights)) * root
    total = float(about @ about)
    return LeastSquares(
        coefficients=coefficients,
        standard_deviations=residual_sd * np.sqrt((inverse * inverse).sum(axis=1)),
        residual_sd=residual_sd,
        r_squared=1.0 - float(residual @ residual) / total if total > 0 else 1.0,
        dof=dof,
    )
