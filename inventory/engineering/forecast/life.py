"""How long new signs of a cohort keep a level, and how often a group may be replaced whole."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from scipy.special import ndtr, ndtri

from inventory.engineering.forecast.covariates import QUADRANT_COUNT
from inventory.engineering.forecast.fit import CohortFit, Scale
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.forecast.predict import both_below
from inventory.engineering.inspection.student import FloatArray
from inventory.engineering.standards.studies import ServiceLife, service_lives
from inventory.errors import OutOfRangeError

CONFIDENCE = 0.95
EARLY_SHARES = (0.05, 0.15)
LONGEST_YEARS = 60.0
TABLE_YEARS = 30
USUAL_LIFE_YEARS = (5.0, 30.0)  # a suggestion of ours: well around the published 8 to 15
USUAL_LIFE_ROW = "asce-synthesis-nc-five-us-studies/1"
DRAWS = 400
_STEP_YEARS = 0.5
_SEED = 20_260_601
_NEGLIGIBLE = 1e-4  # of a first crossing that is undone again; adds less than this


@dataclass(frozen=True, slots=True)
class CrossingAge:
    """
    The age by which a share of new signs has first been below the level, with 95 % bounds.

    ``None`` is beyond 60 years.
    """

    share: float
    years: float | None
    low_years: float | None
    high_years: float | None


@dataclass(frozen=True, slots=True)
class Life:
    """
    How long new signs of a cohort keep a level.

    ``share_below`` has, for each whole year of age from 0 to 30, the share that has been below
    the level by then; ``low`` and ``high`` are its 95 % bounds.
    """

    level_cd_lx_m2: float
    median: CrossingAge
    early: tuple[CrossingAge, ...]
    oldest_age_years: float
    share_below: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]

    def is_beyond_ages_seen(self, crossing: CrossingAge) -> bool:
        """Return whether an age is beyond the oldest that was read."""
        return crossing.years is None or crossing.years > self.oldest_age_years

    @property
    def is_extrapolated(self) -> bool:
        """Return whether the median is beyond the oldest age that was read."""
        return self.is_beyond_ages_seen(self.median)

    @property
    def warning(self) -> str:
        """Return a sentence where the median is outside 5 to 30 years, else nothing."""
        years = self.median.years
        least, most = USUAL_LIFE_YEARS
        if years is not None and least <= years <= most:
            return ""
        published = usual_life()
        stated = "over 60 years" if years is None else f"{years:.1f} years"
        return (
            f"A median life of {stated} is unusual: in a published synthesis the level was "
            f"usually reached {published.value_low} to {published.value_high} years after a "
            f"sign was put up ({published.source}; Types {published.sheeting_types}). Check "
            "the dates, the level and how few readings this rests on before you use it."
        )

    def to_json(self) -> dict[str, Any]:
        """Return it as plain values to store; see :meth:`from_json`."""
        return {
            "level_cd_lx_m2": self.level_cd_lx_m2,
            "median_years": self.median.years,
            "median_low_years": self.median.low_years,
            "median_high_years": self.median.high_years,
            "early": [
                {
                    "share": each.share,
                    "years": each.years,
                    "low_years": each.low_years,
                    "high_years": each.high_years,
                }
                for each in self.early
            ],
            "oldest_age_years": self.oldest_age_years,
            "is_extrapolated": self.is_extrapolated,
            "warning": self.warning,
            "table": [
                {"age_years": age, "share_below": share, "low": low, "high": high}
                for age, (share, low, high) in enumerate(
                    zip(self.share_below, self.low, self.high, strict=True)
                )
            ],
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> Self:
        """
        Return the life that :meth:`to_json` wrote.

        Examples
        --------
        >>> steady = Life(50.0, CrossingAge(0.5, 12.0, 11.0, 13.0), (), 15.0, (0.0, 0.1),
        ...               (0.0, 0.05), (0.0, 0.2))
        >>> Life.from_json(steady.to_json()) == steady
        True
        """
        table = stored["table"]
        return cls(
            level_cd_lx_m2=stored["level_cd_lx_m2"],
            median=CrossingAge(
                0.5,
                stored["median_years"],
                stored["median_low_years"],
                stored["median_high_years"],
            ),
            early=tuple(CrossingAge(**each) for each in stored["early"]),
            oldest_age_years=stored["oldest_age_years"],
            share_below=tuple(row["share_below"] for row in table),
            low=tuple(row["low"] for row in table),
            high=tuple(row["high"] for row in table),
        )


def usual_life() -> ServiceLife:
    """Return the published ages at which the level is usually reached."""
    return next(row for row in service_lives() if row.row_id == USUAL_LIFE_ROW)


def crossing_age(level: float, slope_per_year: float, minimum: float) -> float:
    """
    Return the age at which a falling line reaches a minimum: (minimum − level) ÷ slope.

    Parameters
    ----------
    level, slope_per_year, minimum : float
        Of a line that falls, from over the minimum, all in one unit (and a year).

    Raises
    ------
    OutOfRangeError
        If the line does not fall, or begins at or below the minimum: it has no crossing ahead.

    Examples
    --------
    >>> round(crossing_age(250.0, -12.0, 50.0), 3)  # by hand; not published
    16.667
    """
    if not (slope_per_year < 0 and level > minimum):
        msg = (
            f"A line from {level:g} that changes by {slope_per_year:g} a year does not come "
            f"down to {minimum:g}; it has to begin above and to fall."
        )
        raise OutOfRangeError(msg)
    return (minimum - level) / slope_per_year


def expected_life(fit: CohortFit, level_cd_lx_m2: float) -> Life:
    """
    Return how long new signs of a cohort keep a level.

    A new sign differs from its cohort's line by its own level and slope, by those of its lot,
    and by the yearly change of its facing and district where a fit tells them apart; what
    counts is when its true R_A is first below the level. The bounds are of 400 draws of the
    cohort's line from its uncertainty, always the same, each with the spread of signs as
    uncertain as that of a sample of as many signs; dirt and the instrument
    do not age a sign and are left out. Where the scale is open, the life and the draws are of
    both scales by their weights.

    Parameters
    ----------
    fit : CohortFit
        Of the cohort.
    level_cd_lx_m2 : float
        The level to keep, over 0. [cd/lx/m²]

    Raises
    ------
    OutOfRangeError
        If the level is not over 0.

    Examples
    --------
    >>> from inventory.engineering.forecast.fit import fit_cohort
    >>> from inventory.engineering.forecast.observations import Observations
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> life = expected_life(fit_cohort(two, scale=Scale.LOG, shape=LINEAR), 120.0)
    >>> 15 < life.median.years < 25, life.is_extrapolated
    (True, True)
    """
    if not (level_cd_lx_m2 > 0 and np.isfinite(level_cd_lx_m2)):
        msg = f"The level to keep is {level_cd_lx_m2:g} cd/lx/m²; it is over 0."
        raise OutOfRangeError(msg)
    ages = np.arange(0.0, LONGEST_YEARS + _STEP_YEARS / 2, _STEP_YEARS)
    crossed = _share_crossed_on_each(fit, level_cd_lx_m2, ages)
    whole = np.arange(TABLE_YEARS + 1) * round(1 / _STEP_YEARS)
    tail = (1 - CONFIDENCE) / 2
    low, high = np.quantile(crossed[1:, whole], (tail, 1 - tail), axis=0)
    best = crossed[0, whole]
    return Life(
        level_cd_lx_m2=float(level_cd_lx_m2),
        median=_crossing(crossed, ages, 0.5),
        early=tuple(_crossing(crossed, ages, share) for share in EARLY_SHARES),
        oldest_age_years=float(fit.oldest_age_years),
        share_below=_shares(best),
        low=_shares(np.minimum(low, best)),
        high=_shares(np.maximum(high, best)),
    )


def life_of(fit: CohortFit, level_cd_lx_m2: float) -> dict[str, Any]:
    """Return :func:`expected_life` as plain values to store beside the fit."""
    return expected_life(fit, level_cd_lx_m2).to_json()


def _share_crossed_on_each(
    fit: CohortFit, level_cd_lx_m2: float, ages: FloatArray
) -> FloatArray:
    """
    Return :func:`_share_crossed`; of both scales where that is open.

    The best estimate is then of both by their weights, and so many of the draws of each.
    """
    crossed = _share_crossed(fit, level_cd_lx_m2, ages)
    if fit.other is None:
        return crossed
    of_other = _share_crossed(fit.other.fit, level_cd_lx_m2, ages)
    best = (1.0 - fit.other.weight) * crossed[:1] + fit.other.weight * of_other[:1]
    number = round(DRAWS * fit.other.weight)
    return np.concatenate([best, crossed[1 + number :], of_other[1 : 1 + number]])


def _share_crossed(fit: CohortFit, level_cd_lx_m2: float, ages: FloatArray) -> FloatArray:
    """Return the share that has been below the level by each age: best estimate, then draws."""
    columns = fit.shape.basis(ages)
    size = columns.shape[1]
    draw = np.random.default_rng(_SEED)
    beta = np.vstack(
        [
            fit.coefficients[:size],
            draw.multivariate_normal(
                fit.coefficients[:size],
                fit.solution.covariance[:size, :size],
                size=DRAWS,
                method="eigh",
            ),
        ]
    )
    freedom = max(fit.sign_count - 1, 1)
    # One draw for level and slope: so their correlation stays what it is.
    wider = np.append(1.0, freedom / np.maximum(draw.chisquare(freedom, DRAWS), 1e-3))
    spread = fit.variances.with_lots_added() if fit.variances.has_lots else fit.variances
    of_level = spread.sign_level_sd**2
    of_slope = spread.sign_slope_sd**2 + _variance_of_places(fit)
    of_both = spread.sign_correlation * spread.sign_level_sd * spread.sign_slope_sd
    variance = of_level + 2 * of_both * ages + of_slope * ages * ages
    level = np.log(level_cd_lx_m2) if fit.scale is Scale.LOG else level_cd_lx_m2
    z = (level - beta @ columns.T) / np.sqrt(wider[:, None] * variance)
    below = ndtr(z)
    crossed = below.copy()
    new = below[:, :1]
    # A sign below when new that rises above later has crossed all the same.
    rows, places = np.nonzero(np.minimum(new, 1.0 - below) > _NEGLIGIBLE)
    later = places > 0
    rows, places = rows[later], places[later]
    if len(rows):
        correlation = (of_level + of_both * ages[places]) / np.sqrt(of_level * variance[places])
        both = both_below(z[rows, 0], z[rows, places], correlation)
        crossed[rows, places] += np.maximum(below[rows, 0] - both, 0.0)
    return np.asarray(np.maximum.accumulate(np.minimum(crossed, 1.0), axis=1))


def _variance_of_places(fit: CohortFit) -> float:
    """Return how facing and district spread the yearly changes of signs put up anywhere."""
    covariates = fit.covariates
    if not covariates.column_count:
        return 0.0
    changes = fit.coefficients[fit.shape.column_count :]
    total = 0.0
    for quadrant, district in (
        (np.arange(QUADRANT_COUNT), np.full(QUADRANT_COUNT, UNKNOWN)),
        (np.full(len(covariates.districts), UNKNOWN), covariates.districts),
    ):
        if len(quadrant):
            apart = covariates.contrasts(quadrant, district) @ changes
            total += float(np.mean(apart * apart))
    return total


def _crossing(crossed: FloatArray, ages: FloatArray, share: float) -> CrossingAge:
    years = np.array([_age_at(row, ages, share) for row in crossed])
    tail = (1 - CONFIDENCE) / 2
    low, high = np.quantile(years[1:], (tail, 1 - tail), method="nearest")
    return CrossingAge(
        share, _finite(years[0]), _finite(min(low, years[0])), _finite(max(high, years[0]))
    )


def _age_at(crossed: FloatArray, ages: FloatArray, share: float) -> float:
    """Return when a share is reached: between steps along a line of normal quantiles."""
    after = int(np.searchsorted(crossed, share))
    if after == len(ages):
        return np.inf
    if after == 0:
        return 0.0
    low, high = ndtri(np.clip(crossed[after - 1 : after + 1], 1e-12, 1 - 1e-12))
    step = (ndtri(share) - low) / (high - low) if high > low else 0.0
    return float(ages[after - 1] + step * (ages[after] - ages[after - 1]))


def _finite(years: float) -> float | None:
    return round(float(years), 3) if np.isfinite(years) else None


def _shares(values: FloatArray) -> tuple[float, ...]:
    return tuple(round(float(each), 6) for each in values)


@dataclass(frozen=True, slots=True)
class GroupedCohort:
    """One cohort of a group that is replaced whole: its words, its signs, its life."""

    words: str
    sign_count: int
    life: Life


@dataclass(frozen=True, slots=True)
class BlanketInterval:
    """
    The longest whole interval that keeps a stated share above its level until replaced.

    ``years`` is 0 where not even a year does, 30 where that may be too short; ``share_above``
    is kept then. ``cautious_years`` does so with the upper bounds of the shares below.
    ``shares_above`` has each cohort's share at ``years``; ``limiting`` is the place of the
    cohort with the most signs below then.
    """

    years: int
    share_above: float
    cautious_years: int
    shares_above: tuple[float, ...]
    limiting: int
    is_extrapolated: bool


def blanket_interval(cohorts: Sequence[GroupedCohort], share_kept: float) -> BlanketInterval:
    """
    Return how long a group of cohorts may stand before all of it is replaced.

    Parameters
    ----------
    cohorts : sequence of GroupedCohort
        Of the group, each with its signs; one sign or more together.
    share_kept : float
        Share of all the signs to be above their level until the end; 0.5 to 0.999.

    Raises
    ------
    OutOfRangeError
        If the share is outside these bounds or there is no sign.

    Examples
    --------
    >>> none = CrossingAge(0.5, None, None, None)
    >>> def falling(*shares):
    ...     return Life(50.0, none, (), 9.0, shares, shares, shares)
    >>> found = blanket_interval(
    ...     [GroupedCohort("white", 300, falling(0.0, 0.01, 0.04, 0.20)),
    ...      GroupedCohort("red", 100, falling(0.0, 0.02, 0.06, 0.30))], 0.95)
    >>> found.years, round(found.share_above, 4), found.limiting
    (2, 0.955, 0)
    """
    if not 0.5 <= share_kept <= 0.999:
        msg = f"The share to keep above its level is {share_kept:g}; it is from 0.5 to 0.999."
        raise OutOfRangeError(msg)
    counts = np.array([each.sign_count for each in cohorts], dtype=np.float64)
    if not counts.sum() > 0:
        msg = "The group has no sign whose cohort has an expected life; choose other cohorts."
        raise OutOfRangeError(msg)
    below = np.array([each.life.share_below for each in cohorts])
    high = np.array([each.life.high for each in cohorts])
    weights = counts / counts.sum()
    years, cautious = (_longest(weights @ shares, 1 - share_kept) for shares in (below, high))
    at = below[:, years]
    oldest = min(each.life.oldest_age_years for each in cohorts if each.sign_count)
    return BlanketInterval(
        years=years,
        share_above=float(1 - weights @ at),
        cautious_years=cautious,
        shares_above=tuple(float(1 - share) for share in at),
        limiting=int(np.argmax(counts * at)),
        is_extrapolated=years > oldest,
    )


def _longest(share_below: FloatArray, most: float) -> int:
    # Shares are rounded when stored; a hair over is not over.
    return max(int(np.searchsorted(share_below, most + 1e-9, side="right")) - 1, 0)
