"""
How sure the mean of several readings is: scatter, instrument, degrees of freedom, outliers.

A reading is taken to be the true R_A, plus scatter (place on the face, repeatability), plus an
error that all readings of one instrument in one session share. Scatter averages out; the
shared error does not. The exact mean of ``readings`` stays what is compared with a level.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from inventory.engineering.inspection.instrument_uncertainty import InstrumentUncertainty
from inventory.engineering.inspection.outliers import find_outliers
from inventory.engineering.inspection.readings import (
    MAXIMUM_RA_CD_LX_M2,
    RECOMMENDED_READING_COUNT,
    THOUSANDTHS,
    ReducedReadings,
    to_thousandths,
)
from inventory.engineering.inspection.student import FloatArray, WholeArray, student_quantile
from inventory.errors import OutOfRangeError

COVERAGE_PROBABILITY = 0.95  # of the interval value ± U
MAXIMUM_READING_COUNT = 1000  # of one colour; keeps sums of squares exact in 64 bits


@dataclass(frozen=True, slots=True, eq=False)
class ResultColumns:
    """
    The results of many colours, one array per quantity, all of one length.

    ``scatter_cd_lx_m2`` is the standard deviation of one reading and ``scatter_dof`` its
    degrees of freedom; ``common_cd_lx_m2`` is the standard uncertainty of the shared error.

    Raises
    ------
    OutOfRangeError
        If lengths differ, or a count is not 1 to 1000, a total, scatter or common part is
        negative or not finite, or degrees of freedom are under 1.
    """

    total_thousandths: WholeArray
    count: WholeArray
    scatter_cd_lx_m2: FloatArray
    scatter_dof: FloatArray
    common_cd_lx_m2: FloatArray

    def __post_init__(self) -> None:
        columns = (
            ("total", self.total_thousandths, self.total_thousandths >= 0, "0 or more"),
            (
                "count",
                self.count,
                (self.count >= 1) & (self.count <= MAXIMUM_READING_COUNT),
                f"1 to {MAXIMUM_READING_COUNT}",
            ),
            ("scatter", self.scatter_cd_lx_m2, _is_amount(self.scatter_cd_lx_m2), "0 or more"),
            ("degrees of freedom", self.scatter_dof, self.scatter_dof >= 1, "1 or more"),
            (
                "common part",
                self.common_cd_lx_m2,
                _is_amount(self.common_cd_lx_m2),
                "0 or more",
            ),
        )
        for name, values, is_good, bound in columns:
            if len(values) != len(self.count):
                msg = (
                    f"There are {len(values)} values of {name} for {len(self.count)} counts; "
                    "give one of each for every colour."
                )
                raise OutOfRangeError(msg)
            if not is_good.all():
                index = int(np.argmin(is_good))
                msg = f"The {name} of colour {index} is {values[index]:g}; it is {bound}."
                raise OutOfRangeError(msg)

    def __len__(self) -> int:
        return len(self.count)

    @property
    def mean_cd_lx_m2(self) -> FloatArray:
        """Return the means as floating-point numbers, for statistics only."""
        return self.total_thousandths / (self.count * float(THOUSANDTHS))

    @property
    def scatter_variance(self) -> FloatArray:
        """Return the variance of the mean that comes from scatter."""
        return self.scatter_cd_lx_m2 * self.scatter_cd_lx_m2 / self.count

    @property
    def common_variance(self) -> FloatArray:
        """Return the variance of the mean that comes from the shared error."""
        return self.common_cd_lx_m2 * self.common_cd_lx_m2

    @property
    def standard_uncertainty_cd_lx_m2(self) -> FloatArray:
        """Return the standard uncertainties of the means."""
        return np.sqrt(self.scatter_variance + self.common_variance)

    @property
    def effective_dof(self) -> FloatArray:
        """Return the effective degrees of freedom of the standard uncertainties."""
        return welch_satterthwaite(
            (self.scatter_variance, self.common_variance), (self.scatter_dof, math.inf)
        )


def welch_satterthwaite(
    variances: Sequence[FloatArray], dofs: Sequence[FloatArray | float]
) -> FloatArray:
    """
    Return the effective degrees of freedom of a sum of independent contributions.

    Parameters
    ----------
    variances : sequence of array of float
        Squared contributions to the standard uncertainty, 0 or more, all in one unit.
    dofs : sequence of array of float or float
        Degrees of freedom of each contribution, 1 or more; infinite for one taken as known.

    Returns
    -------
    array of float
        Infinite where no contribution with finite degrees of freedom is over 0.

    References
    ----------
    .. [1] JCGM 100:2008, G.4.1, equation (G.2b).

    Examples
    --------
    The end gauge of JCGM 100:2008 H.1.6, in nm (cut down to 16 there before use):

    >>> parts = [np.array([part**2]) for part in (25.0, 9.7, 2.9, 16.6)]
    >>> welch_satterthwaite(parts, (18.0, 25.6, 50.0, 2.0)).round(2).tolist()
    [16.76]
    """
    whole: FloatArray = np.sum(variances, axis=0)
    estimated = np.zeros_like(whole)
    for variance, dof in zip(variances, dofs, strict=True):
        if not (isinstance(dof, float) and math.isinf(dof)):
            estimated += variance * variance / dof
    effective = np.full_like(whole, math.inf)
    np.divide(whole * whole, estimated, out=effective, where=estimated > 0)
    return effective


def reduce_columns(
    total_thousandths: WholeArray,
    count: WholeArray,
    square_total: WholeArray,
    *,
    repeatability_rel: FloatArray | float,
    common_rel: FloatArray | float,
    single_scatter_rel: FloatArray | float,
    single_scatter_dof: FloatArray | float = math.inf,
) -> ResultColumns:
    """
    Return the results of many colours from the sums of their readings.

    The scatter of two or more readings is their standard deviation, but never less than the
    instrument's repeatability: a few equal values do not prove that a face has no scatter. Its
    degrees of freedom are n − 1 in either case, for the readings say no more than that of the
    face; so the uncertainty does not jump where the repeatability takes over. For one reading
    the scatter is the stated one.

    Parameters
    ----------
    total_thousandths, square_total : array of int
        Sums of the readings in thousandths, and of their squares. [0.001 cd/lx/m²]
    count : array of int
        Numbers of readings, 1 to 1000.
    repeatability_rel, common_rel, single_scatter_rel, single_scatter_dof : array or float
        Of the instrument of each colour, see :class:`InstrumentUncertainty`.

    Raises
    ------
    OutOfRangeError
        As :class:`ResultColumns` does.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2.2 and 4.2.3: experimental standard deviation, and of the mean.

    Examples
    --------
    >>> columns = reduce_columns(
    ...     np.array([160_000]), np.array([4]), np.array([6_410_000_000]),
    ...     repeatability_rel=0.03, common_rel=0.05, single_scatter_rel=0.1,
    ... )
    >>> columns.scatter_cd_lx_m2.round(4).tolist(), columns.common_cd_lx_m2.tolist()
    ([1.8257], [2.0])
    """
    mean = total_thousandths / (count * float(THOUSANDTHS))
    least = repeatability_rel * mean
    # Exact in whole numbers, so that the order of readings cannot matter.
    spread_squared = (count * square_total - total_thousandths * total_thousandths) / (
        np.maximum(count * (count - 1), 1) * float(THOUSANDTHS**2)
    )
    scatter = np.maximum(np.sqrt(np.maximum(spread_squared, 0.0)), least)
    is_single = count == 1
    return ResultColumns(
        total_thousandths=total_thousandths,
        count=count,
        scatter_cd_lx_m2=np.where(is_single, single_scatter_rel * mean, scatter),
        scatter_dof=np.where(is_single, single_scatter_dof, np.maximum(count - 1.0, 1.0)),
        common_cd_lx_m2=common_rel * mean,
    )


@dataclass(frozen=True, slots=True)
class ColorResult:
    """
    The readings of one colour as one result with its uncertainty.

    ``spread_cd_lx_m2`` is the standard deviation of the readings as they are, ``None`` for one
    reading; ``scatter_cd_lx_m2`` is the one that counts, with ``scatter_dof`` degrees of
    freedom. ``outliers`` are the positions of readings that stand out; they are in the mean.
    """

    reduced: ReducedReadings
    spread_cd_lx_m2: float | None
    scatter_cd_lx_m2: float
    scatter_dof: float
    common_cd_lx_m2: float
    outliers: tuple[int, ...] = ()

    @property
    def mean(self) -> Fraction:
        """Return the exact mean in cd/lx/m²."""
        return self.reduced.mean

    @property
    def count(self) -> int:
        """Return the number of readings."""
        return self.reduced.count

    @property
    def is_few(self) -> bool:
        """Return whether there are fewer values than the four usually taken."""
        return self.count < RECOMMENDED_READING_COUNT

    @property
    def standard_uncertainty_cd_lx_m2(self) -> float:
        """Return the standard uncertainty of the mean."""
        return float(columns_of([self]).standard_uncertainty_cd_lx_m2[0])

    @property
    def effective_dof(self) -> float:
        """Return the effective degrees of freedom, infinite when nothing was estimated."""
        return float(columns_of([self]).effective_dof[0])

    @property
    def expanded_uncertainty_cd_lx_m2(self) -> float:
        """Return U of the 95 % interval value ± U."""
        columns = columns_of([self])
        return float(expanded_uncertainty(columns)[0])


def reduce_color(values: Iterable[Decimal], instrument: InstrumentUncertainty) -> ColorResult:
    """
    Return the readings of one colour as one result with its uncertainty.

    Parameters
    ----------
    values : iterable of Decimal
        One to 1000 readings of one colour by one instrument in one session, each of at most
        three decimals, in any order. [cd/lx/m²]
    instrument : InstrumentUncertainty
        What the agency states of that instrument.

    Returns
    -------
    ColorResult
        The same figures as :func:`reduce_columns` gives.

    Raises
    ------
    OutOfRangeError
        If there is no value, more than 1000, or one is negative, over 2000 or has more than
        three decimals.

    References
    ----------
    .. [1] JCGM 100:2008, 4.2.3, 5.1.2 and G.4.

    Examples
    --------
    >>> known = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")
    >>> result = reduce_color([Decimal(value) for value in ("38", "40", "41", "41")], known)
    >>> result.mean, round(result.standard_uncertainty_cd_lx_m2, 3)
    (Fraction(40, 1), 2.121)
    >>> round(result.effective_dof, 1), round(result.expanded_uncertainty_cd_lx_m2, 2)
    (243.0, 4.18)
    """
    return reduce_colors([values], instrument)[0]


def reduce_colors(
    values_of_colors: Iterable[Iterable[Decimal]], instrument: InstrumentUncertainty
) -> list[ColorResult]:
    """
    Return the readings of many colours as one result each: :func:`reduce_color` on arrays.

    Examples
    --------
    >>> known = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")
    >>> results = reduce_colors([[Decimal("40")], [Decimal("38"), Decimal("40")]], known)
    >>> [float(result.mean) for result in results]
    [40.0, 39.0]
    """
    scaled = [_scaled(values) for values in values_of_colors]
    if not scaled:
        return []
    columns = reduce_columns(
        np.array([sum(values) for values in scaled]),
        np.array([len(values) for values in scaled]),
        np.array([sum(value * value for value in values) for values in scaled]),
        repeatability_rel=instrument.repeatability_rel,
        common_rel=instrument.common_rel,
        single_scatter_rel=instrument.single_scatter_rel,
        single_scatter_dof=instrument.single_scatter_dof,
    )
    return [
        ColorResult(
            reduced=ReducedReadings(sum(values), len(values)),
            spread_cd_lx_m2=_spread(values),
            scatter_cd_lx_m2=scatter,
            scatter_dof=dof,
            common_cd_lx_m2=common,
            outliers=find_outliers(values, scatter),
        )
        for values, scatter, dof, common in zip(
            scaled,
            columns.scatter_cd_lx_m2.tolist(),
            columns.scatter_dof.tolist(),
            columns.common_cd_lx_m2.tolist(),
            strict=True,
        )
    ]


def columns_of(results: Sequence[ColorResult]) -> ResultColumns:
    """
    Return results as columns, so that one or a million are judged by the same function.

    Examples
    --------
    >>> known = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")
    >>> columns_of([reduce_color([Decimal("35.0")], known)]).total_thousandths.tolist()
    [35000]
    """
    return ResultColumns(
        np.array([each.reduced.total_thousandths for each in results], dtype=np.int64),
        np.array([each.reduced.count for each in results], dtype=np.int64),
        np.array([each.scatter_cd_lx_m2 for each in results], dtype=np.float64),
        np.array([each.scatter_dof for each in results], dtype=np.float64),
        np.array([each.common_cd_lx_m2 for each in results], dtype=np.float64),
    )


def expanded_uncertainty(columns: ResultColumns) -> FloatArray:
    """
    Return U of the 95 % intervals value ± U.

    References
    ----------
    .. [1] JCGM 100:2008, G.3.2 and G.4.1: Student's t for the effective degrees of freedom.

    Examples
    --------
    >>> known = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")
    >>> single = columns_of([reduce_color([Decimal("40")], known)])
    >>> expanded_uncertainty(single).round(3).tolist()
    [8.765]
    """
    factor = student_quantile(0.5 + COVERAGE_PROBABILITY / 2, columns.effective_dof)
    return factor * columns.standard_uncertainty_cd_lx_m2


def _scaled(values: Iterable[Decimal]) -> list[int]:
    """Return the readings of one colour as whole thousandths, or refuse what is none."""
    scaled = [to_thousandths(value) for value in values]
    if not 1 <= len(scaled) <= MAXIMUM_READING_COUNT:
        msg = (
            f"There are {len(scaled)} readings of one colour; give 1 to "
            f"{MAXIMUM_READING_COUNT} to average."
        )
        raise OutOfRangeError(msg)
    for value in (min(scaled), max(scaled)):
        if not 0 <= value <= MAXIMUM_RA_CD_LX_M2 * THOUSANDTHS:
            msg = (
                f"The reading {value / THOUSANDTHS:g} cd/lx/m² is not from 0 to "
                f"{MAXIMUM_RA_CD_LX_M2}, as sign sheeting returns; check the value."
            )
            raise OutOfRangeError(msg)
    return scaled


def _spread(scaled: Sequence[int]) -> float | None:
    """Return the standard deviation of thousandths in cd/lx/m²."""
    count = len(scaled)
    if count == 1:
        return None
    squares = count * sum(value * value for value in scaled) - sum(scaled) ** 2
    return math.sqrt(squares / (count * (count - 1))) / THOUSANDTHS


def _is_amount(values: FloatArray) -> np.typing.NDArray[np.bool_]:
    """Return whether values are 0 or more and finite."""
    return (values >= 0) & (values < math.inf)
