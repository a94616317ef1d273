"""From the readings of a cohort to the sums per sign, on either scale."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Self

import numpy as np

from inventory.engineering.forecast.grams import SignGrams, sum_signs
from inventory.engineering.forecast.observations import Observations, TruthArray
from inventory.engineering.forecast.shapes import AgeShape
from inventory.engineering.inspection.student import FloatArray, WholeArray

CHUNK_SIGNS = 65_536


class Scale(StrEnum):
    """On what the readings are fitted: their logarithm, or as they are."""

    LOG = "log"
    PLAIN = "plain"


def design_columns(
    shape: AgeShape, ages_years: FloatArray, is_age_known: TruthArray
) -> FloatArray:
    """
    Return the columns of visits; at an unknown age the mean slope of the curve stands for it.

    Examples
    --------
    >>> curve = AgeShape((1.0, 4.0, 7.0, 10.0))
    >>> design_columns(curve, np.array([10.0, 5.0]), np.array([True, False])).round(4).tolist()
    [[1.0, 10.0, 8.0, 2.0], [1.0, 5.0, 4.0, 1.0]]
    """
    columns = shape.basis(ages_years)
    if shape.knots_years and not is_age_known.all():
        last = shape.knots_years[-1]
        slopes = shape.basis(np.array([last]))[0] / last
        columns[~is_age_known, 1:] = ages_years[~is_age_known, None] * slopes[1:]
    return columns


@dataclass(frozen=True, slots=True, eq=False)
class Visits:
    """What is fitted, an entry per visit in the order of signs: columns, response, variance."""

    sign: WholeArray
    columns: FloatArray
    response: FloatArray
    known_variance: FloatArray
    sign_count: int

    @classmethod
    def of(
        cls, observations: Observations, scale: Scale, shape: AgeShape, middle_cd_lx_m2: float
    ) -> Self:
        """
        Return the visits of a cohort on a scale.

        On the plain scale the known variance is the repeatability's share of the cohort's
        median, so that a dim reading does not weigh more for being dim.
        """
        ra = observations.ra_cd_lx_m2
        share = observations.repeatability_rel
        if scale is Scale.PLAIN:
            share = share * middle_cd_lx_m2
        is_known = observations.is_age_known
        return cls(
            sign=observations.sign,
            columns=design_columns(
                shape,
                observations.age_years,
                np.ones(len(ra), np.bool_) if is_known.all() else is_known[observations.sign],
            ),
            response=np.log(ra) if scale is Scale.LOG else ra,
            known_variance=share * share / observations.reading_count,
            sign_count=observations.sign_count,
        )

    def sums(
        self, response: FloatArray | None = None, known_variance: FloatArray | None = None
    ) -> SignGrams:
        """Return the sums per sign, of another response or variance where one is given."""
        response = self.response if response is None else response
        known_variance = self.known_variance if known_variance is None else known_variance
        parts = []
        for start in range(0, max(self.sign_count, 1), CHUNK_SIGNS):
            stop = min(start + CHUNK_SIGNS, self.sign_count)
            first, last = np.searchsorted(self.sign, [start, stop])
            part = sum_signs(
                self.sign[first:last] - start,
                self.columns[first:last],
                response[first:last],
                known_variance[first:last],
                stop - start,
            )
            parts.append((start, part))
        return SignGrams(
            sign_count=self.sign_count,
            column_count=self.columns.shape[1] + 1,
            sign=np.concatenate([start + part.sign for start, part in parts]),
            known_variance=np.concatenate([part.known_variance for _start, part in parts]),
            visit_count=np.concatenate([part.visit_count for _start, part in parts]),
            products=np.concatenate([part.products for _start, part in parts], axis=1),
        )

    def of_signs(self, chosen: WholeArray) -> tuple[Self, TruthArray]:
        """Return the visits of some signs, numbered anew, and which visits they are."""
        is_chosen = np.zeros(self.sign_count, dtype=np.bool_)
        is_chosen[chosen] = True
        number = np.cumsum(is_chosen) - 1
        kept = is_chosen[self.sign]
        some = type(self)(
            number[self.sign[kept]],
            self.columns[kept],
            self.response[kept],
            self.known_variance[kept],
            len(chosen),
        )
        return some, kept


def sum_observations(
    observations: Observations,
    scale: Scale,
    shape: AgeShape,
    *,
    middle_cd_lx_m2: float | None = None,
) -> SignGrams:
    """
    Return the sums per sign of readings as they are; sessions are not taken out of them.

    ``middle_cd_lx_m2`` is the cohort's median R_A; left out, that of these readings.

    Examples
    --------
    >>> two = Observations.plain([0, 0], [1.0, 3.0], [240.0, 220.0])
    >>> sum_observations(two, Scale.PLAIN, AgeShape()).products[:, 0].tolist()
    [2.0, 4.0, 460.0, 10.0, 900.0, 106000.0]
    """
    if middle_cd_lx_m2 is None:
        ra = observations.ra_cd_lx_m2
        middle_cd_lx_m2 = float(np.median(ra)) if len(ra) else 1.0
    return Visits.of(observations, scale, shape, middle_cd_lx_m2).sums()
