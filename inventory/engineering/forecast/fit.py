"""The fit of a cohort: variances by restricted likelihood, then its line and its lots."""

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, Self

import numpy as np
from scipy.special import ndtri

from inventory.engineering.forecast.covariates import NONE, Covariates
from inventory.engineering.forecast.grams import SignGrams
from inventory.engineering.forecast.likelihood import CohortSolution, CohortSums, solve_cohort
from inventory.engineering.forecast.observations import UNKNOWN, Observations
from inventory.engineering.forecast.session_spread import fit_variances_with_sessions
from inventory.engineering.forecast.sessions import (
    SESSION_PRIOR,
    SessionErrors,
    number_sessions,
    solve_sessions,
)
from inventory.engineering.forecast.shapes import AgeShape
from inventory.engineering.forecast.spread import (
    WEAK_PRIOR,
    Prior,
    Search,
    fit_variances,
    sample_of_lots,
    sums_of_sample,
)
from inventory.engineering.forecast.sums import (
    Scale,
    Visits,
    design_columns,
    sum_observations,
)
from inventory.engineering.forecast.told import Told, ToldOnBoth
from inventory.engineering.forecast.variances import Variances
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

__all__ = (
    "METHOD_VERSION",
    "SESSION_PRIOR",
    "WEAK_PRIOR",
    "CohortCurve",
    "CohortFit",
    "OtherScale",
    "Prior",
    "Scale",
    "cohort_curve",
    "design_columns",
    "fit_cohort",
    "sum_observations",
)

METHOD_VERSION = "forecast-3"
MINIMUM_LOTS = 5  # with two signs each, for lots to have a spread of their own
Z_90 = float(ndtri(0.95))


@dataclass(frozen=True, slots=True, eq=False)
class OtherScale:
    """
    A cohort's fit on the other scale, and how probable it is that it tells the better.

    ``weight`` is over 0, at most 0.5: the likelier scale comes first.
    """

    fit: "CohortFit"
    weight: float


@dataclass(frozen=True, slots=True, eq=False)
class CohortFit:
    """
    What a cohort's readings say together.

    ``coefficients`` and all of ``variances`` are of the logarithm of R_A, or in cd/lx/m² on the
    plain scale; the shape's columns come first, then the contrasts of the covariates.
    ``lot_numbers`` are the known lots in ascending order; empty where too few lots were read to
    give them a term. ``oldest_age_years`` is the highest age read, ``middle_cd_lx_m2`` the
    median R_A. ``sessions`` are the errors found of each instrument and day, where they were
    looked for. A fit that was stored and read again has no ``grams``, lots or sessions.
    ``other`` is the fit on the other scale, where the readings do not tell which is right:
    forecasts are then of both.
    """

    scale: Scale
    shape: AgeShape
    variances: Variances
    solution: CohortSolution
    lot_numbers: WholeArray
    sign_count: int
    visit_count: int
    oldest_age_years: float
    middle_cd_lx_m2: float
    grams: SignGrams | None
    covariates: Covariates = NONE
    sessions: SessionErrors | None = None
    other: OtherScale | None = None

    @property
    def coefficients(self) -> FloatArray:
        """Return the cohort's level, yearly change, bends, and contrasts."""
        return self.solution.coefficients

    @property
    def parts(self) -> tuple[tuple["CohortFit", float], ...]:
        """Return the fit with its weight, and that on the other scale where that is open."""
        if self.other is None:
            return ((self, 1.0),)
        return (self, 1.0 - self.other.weight), (self.other.fit, self.other.weight)

    @property
    def unit(self) -> float:
        """Return what a share is of on the fit's scale: 1, or the median R_A."""
        return 1.0 if self.scale is Scale.LOG else self.middle_cd_lx_m2

    def sums_of(self, observations: Observations) -> SignGrams:
        """
        Return the sums of any readings of the cohort, to forecast their signs from.

        The sessions' errors are found anew, with the fit's line and spread, and taken out.
        """
        visits, chosen = _visits_of_read_signs(
            observations, self.scale, self.shape, self.middle_cd_lx_m2
        )
        session, session_count = number_sessions(observations.session)
        if not session_count:
            known = visits.known_variance + self.variances.session_sd**2
            return visits.sums(known_variance=known).among(chosen, observations.sign_count)
        if not self.variances.session_sd:
            return visits.sums().among(chosen, observations.sign_count)
        group, contrasts = self.covariates.groups(
            observations.quadrant[chosen], observations.district[chosen]
        )
        size = len(self.coefficients)
        cohort = CohortSums(
            visits.sums(),
            observations.is_age_known[chosen],
            place_of_lots(observations.lot[chosen], self.lot_numbers),
            len(self.lot_numbers),
            np.ones(size),
            np.zeros(size),
            group,
            contrasts,
        )
        line = (self.coefficients, self.solution.covariance)
        found = solve_sessions(
            visits, session, session_count, cohort, self.variances, line=line
        )
        return found.grams.among(chosen, observations.sign_count)

    def to_json(self) -> dict[str, Any]:
        """
        Return the fit as numbers, lists and texts: all but the sums and the lots.

        Examples
        --------
        >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
        >>> fit = fit_cohort(two, scale=Scale.LOG, shape=AgeShape())
        >>> again = CohortFit.from_json(fit.to_json())
        >>> again.coefficients.tolist() == fit.coefficients.tolist(), again.grams is None
        (True, True)
        """
        return {
            "method": METHOD_VERSION,
            "scale": self.scale.value,
            "knots_years": list(self.shape.knots_years),
            "covariates": self.covariates.to_json(),
            "variances": {name: float(sd) for name, sd in asdict(self.variances).items()},
            "coefficients": self.solution.coefficients.tolist(),
            "covariance": self.solution.covariance.tolist(),
            "log_likelihood": self.solution.log_likelihood,
            "sign_count": self.sign_count,
            "visit_count": self.visit_count,
            "oldest_age_years": self.oldest_age_years,
            "middle_cd_lx_m2": self.middle_cd_lx_m2,
            "other": None
            if self.other is None
            else {"weight": self.other.weight, "fit": self.other.fit.to_json()},
        }

    @classmethod
    def from_json(cls, stored: dict[str, Any]) -> Self:
        """
        Return a stored fit; it knows no lots, and forecasts from sums made anew.

        Raises
        ------
        OutOfRangeError
            If it was stored by another version of the method.
        """
        if stored.get("method") != METHOD_VERSION:
            msg = (
                f"The stored fit is of method '{stored.get('method')}', not {METHOD_VERSION}; "
                "fit the cohort again."
            )
            raise OutOfRangeError(msg)
        return cls(
            scale=Scale(stored["scale"]),
            shape=AgeShape(tuple(stored["knots_years"])),
            variances=Variances(**stored["variances"]),
            solution=CohortSolution(
                np.array(stored["coefficients"], dtype=np.float64),
                np.array(stored["covariance"], dtype=np.float64),
                float(stored["log_likelihood"]),
                None,
            ),
            lot_numbers=np.zeros(0, dtype=np.int64),
            sign_count=int(stored["sign_count"]),
            visit_count=int(stored["visit_count"]),
            oldest_age_years=float(stored["oldest_age_years"]),
            middle_cd_lx_m2=float(stored["middle_cd_lx_m2"]),
            grams=None,
            covariates=Covariates.from_json(stored["covariates"]),
            other=None
            if stored["other"] is None
            else OtherScale(
                cls.from_json(stored["other"]["fit"]), float(stored["other"]["weight"])
            ),
        )


@dataclass(frozen=True, slots=True, eq=False)
class CohortCurve:
    """
    The cohort's line by age, an entry per age, in cd/lx/m².

    ``line_low`` to ``line_high`` holds the median of the cohort with 90 %, ``signs_low`` to
    ``signs_high`` the true R_A of 90 % of its signs (not of readings of them).
    """

    ages_years: FloatArray
    median: FloatArray
    line_low: FloatArray
    line_high: FloatArray
    signs_low: FloatArray
    signs_high: FloatArray


def cohort_curve(fit: CohortFit, ages_years: FloatArray) -> CohortCurve:
    """
    Return a cohort's line with its bands, for a sign of average facing and district.

    Examples
    --------
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(two, scale=Scale.LOG, shape=AgeShape())
    >>> curve = cohort_curve(fit, np.array([5.0]))
    >>> curve.median.round().tolist(), curve.signs_low.round().tolist()
    ([220.0], [179.0])
    """
    parts = [(each, *_line(each, ages_years)) for each, _weight in fit.parts]
    of_line, of_signs = (
        told_of(fit, [(middle, variances[place]) for _fit, middle, *variances in parts])
        for place in (0, 1)
    )
    bands = [of_line.quantile(0.5)]
    for told in (of_line, of_signs):
        bands += [told.low_cd_lx_m2, told.high_cd_lx_m2]
    return CohortCurve(ages_years, *(np.maximum(each, 0.0) for each in bands))


def _line(fit: CohortFit, ages_years: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the line on a fit's scale, its variance, and that of signs about it."""
    x = fit.shape.basis(ages_years)
    size = x.shape[1]
    of_line = ((x @ fit.solution.covariance[:size, :size]) * x).sum(axis=1)
    spread = fit.variances.with_lots_added() if fit.variances.has_lots else fit.variances
    g = spread.sign_matrix
    of_signs = of_line + g[0, 0] + 2 * ages_years * g[0, 1] + ages_years**2 * g[1, 1]
    return x @ fit.coefficients[:size], of_line, of_signs


def told_of(
    fit: CohortFit, parts: Sequence[tuple[FloatArray, FloatArray]]
) -> Told | ToldOnBoth:
    """Return what is told of R_A by mean and variance on the scale of each of a fit's parts."""
    told = [
        Told(mean, np.sqrt(variance), is_log=each.scale is Scale.LOG)
        for (each, _weight), (mean, variance) in zip(fit.parts, parts, strict=True)
    ]
    if fit.other is None:
        return told[0]
    first, other = told
    return ToldOnBoth(first, other, fit.other.weight)


def to_cd_lx_m2(scale: Scale, values: FloatArray) -> FloatArray:
    """Return R_A from what is fitted; never under 0."""
    return np.asarray(np.exp(values) if scale is Scale.LOG else np.maximum(values, 0.0))


def fit_cohort(
    observations: Observations,
    *,
    scale: Scale,
    shape: AgeShape,
    covariates: Covariates = NONE,
    prior: Prior | None = WEAK_PRIOR,
    session_sd: float | None = SESSION_PRIOR,
    variances: Variances | None = None,
    start: Variances | None = None,
    search: Search | None = None,
    progress: Callable[[str], None] | None = None,
) -> CohortFit:
    """
    Return the fit of a cohort by restricted maximum likelihood.

    The variances are those that the restricted likelihood with the prior is highest at, over
    at most 50,000 signs drawn by whole lots; level, slope and lots are then of all signs.

    Parameters
    ----------
    observations : Observations
        Of one cohort; signs without a visit are not counted.
    scale : Scale
        On what the readings are fitted.
    shape : AgeShape
        A line, or a curve.
    covariates : Covariates
        Differences in yearly change by facing and district; none unless given.
    prior : Prior, optional
        None: pure restricted likelihood, for comparison with other programs.
    session_sd : float, optional
        What is stated of the error that all visits of an instrument and day share, as a share
        of R_A: the centre of a weak prior. None or 0: there is no such error.
    variances : Variances, optional
        Known, as from a stored fit of the same readings: they are not looked for again.
    start : Variances, optional
        Where to begin looking for them, such as those of nearly the same readings.
    search : Search, optional
        What the last search of nearly the same readings learnt; learns from this one.
    progress : callable, optional
        Told in words what is being done.

    Raises
    ------
    OutOfRangeError
        If no sign of known age was read, or without a prior if there are fewer than three
        signs.

    References
    ----------
    .. [1] H. D. Patterson and R. Thompson (1971), Biometrika 58, 545-554.

    Examples
    --------
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> two = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(two, scale=Scale.LOG, shape=LINEAR)
    >>> fit.coefficients.round(3).tolist()  # 277 cd/lx/m² when new, 4.5 % less each year
    [5.615, -0.044]
    """
    tell = progress or (lambda _words: None)
    tell(f"summing {len(observations):,} visits")
    middle = float(np.median(observations.ra_cd_lx_m2)) if len(observations) else 1.0
    unit = 1.0 if scale is Scale.LOG else middle
    visits, chosen = _visits_of_read_signs(observations, scale, shape, middle)
    is_age_known = observations.is_age_known[chosen]
    if not is_age_known.any() or (prior is None and len(chosen) < 3):
        msg = (
            f"{int(is_age_known.sum())} signs of known age were read; a cohort is fitted from "
            "one or more, and from three or more without a prior."
        )
        raise OutOfRangeError(msg)
    numbers = _lots_with_a_term(observations.lot[chosen])
    precision, mean = _prior_of_line(prior, unit, shape, covariates)
    group, contrasts = covariates.groups(
        observations.quadrant[chosen], observations.district[chosen]
    )
    cohort = CohortSums(
        visits.sums(),
        is_age_known,
        place_of_lots(observations.lot[chosen], numbers),
        len(numbers),
        precision,
        mean,
        group,
        contrasts,
    )
    session, session_count = number_sessions(observations.session)
    tell(f"fitting the spread of {len(chosen):,} signs")
    has_sessions = bool(session_sd) and session_count > 0
    if variances is None and has_sessions and session_sd:
        variances = fit_variances_with_sessions(
            visits,
            session,
            cohort,
            prior,
            unit,
            session_sd * unit,
            start=start,
            search=search,
            progress=tell,
        )
    elif variances is None:
        sample = sums_of_sample(cohort, sample_of_lots(cohort))
        variances = fit_variances(sample, prior, unit, start, search)
    sessions = None
    if not variances.session_sd or not session_count:
        tell("fitting level, decline and lots")
        if variances.session_sd:  # known from elsewhere, and shared by no two visits here
            known = visits.known_variance + variances.session_sd**2
            cohort = cohort.with_grams(visits.sums(known_variance=known))
        grams, solution = cohort.grams, solve_cohort(variances, cohort)
    else:
        tell(f"fitting level, decline, lots and {session_count:,} sessions")
        found = solve_sessions(visits, session, session_count, cohort, variances)
        grams, solution = found.grams, found.solution
        of_sessions = np.unique(observations.session[session >= 0])
        sessions = SessionErrors(of_sessions, found.effects, found.own_variances)
    ages = observations.age_years[observations.is_age_known[observations.sign]]
    return CohortFit(
        scale=scale,
        shape=shape,
        covariates=covariates,
        sessions=sessions,
        variances=variances,
        solution=solution,
        lot_numbers=numbers,
        sign_count=len(chosen),
        visit_count=len(observations),
        oldest_age_years=float(ages.max()),
        middle_cd_lx_m2=middle,
        grams=grams.among(chosen, observations.sign_count),
    )


def _visits_of_read_signs(
    observations: Observations, scale: Scale, shape: AgeShape, middle_cd_lx_m2: float
) -> tuple[Visits, WholeArray]:
    """Return the visits with their signs numbered anew, and which signs these are."""
    visits = Visits.of(observations, scale, shape, middle_cd_lx_m2)
    is_read = np.zeros(observations.sign_count, dtype=np.bool_)
    is_read[observations.sign] = True
    chosen = np.flatnonzero(is_read)
    if len(chosen) < observations.sign_count:
        number = np.cumsum(is_read) - 1
        visits = replace(visits, sign=number[visits.sign], sign_count=len(chosen))
    return visits, chosen


def place_of_lots(lot: WholeArray, numbers: WholeArray) -> WholeArray:
    """Return where each sign's lot is among the lots with a term, −1 where it is not."""
    if not len(numbers):
        return np.full(len(lot), UNKNOWN, dtype=np.int64)
    place = np.minimum(np.searchsorted(numbers, lot), len(numbers) - 1)
    return np.where(numbers[place] == lot, place, UNKNOWN)


def _lots_with_a_term(lot: WholeArray) -> WholeArray:
    numbers, of_lot = np.unique(lot[lot != UNKNOWN], return_counts=True)
    return numbers if (of_lot >= 2).sum() >= MINIMUM_LOTS else numbers[:0]


def _prior_of_line(
    prior: Prior | None, unit: float, shape: AgeShape, covariates: Covariates
) -> tuple[FloatArray, FloatArray]:
    """Return precision and mean of the coefficients; flat but for yearly changes."""
    size = shape.column_count
    precision = np.zeros(size + covariates.column_count)
    mean = np.zeros_like(precision)
    if prior is not None:
        precision[1] = (prior.slope_sd_rel_per_year * unit) ** -2.0
        mean[1] = prior.slope_rel_per_year * unit
        # One visit, or one age, leaves level or bends open: held by a factor e^±100.
        precision[0] = (100.0 * unit) ** -2.0
        precision[2:size] = (100.0 * unit) ** -2.0
        precision[size:] = (prior.difference_sd_rel_per_year * unit) ** -2.0
    return precision, mean
