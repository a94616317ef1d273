"""
What forecasts made on an earlier day would have been worth: tell, then see what came.

Only what was recorded by the day is fitted; each later reading of the same signs is told, by
the fit and by two plain rivals, and scored.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from inventory.engineering.forecast.fit import CohortFit, design_columns, told_of
from inventory.engineering.forecast.observations import Observations, TruthArray
from inventory.engineering.forecast.predict import forecast_signs
from inventory.engineering.forecast.rivals import tell_by_age_table, tell_by_own_lines
from inventory.engineering.forecast.scores import (
    TENTHS,
    Share,
    brier,
    exact_share,
    tenth_of,
    tenths,
)
from inventory.engineering.forecast.told import Telling
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

HORIZON_ENDS_YEARS = (1.0, 2.0, 3.0, 5.0)
HORIZON_WORDS = (
    "within 1 year",
    "1 to 2 years",
    "2 to 3 years",
    "3 to 5 years",
    "over 5 years",
)
LEAST_KNOWN = 10  # readings of a cohort, below which all three would be guessing


class Rival(StrEnum):
    """Who told a reading."""

    FORECAST = "forecast"
    AGE_TABLE = "age_table"
    OWN_LINE = "own_line"

    @property
    def words(self) -> str:
        """Return it in words."""
        return {
            Rival.FORECAST: "forecast",
            Rival.AGE_TABLE: "table by age",
            Rival.OWN_LINE: "straight line per sign",
        }[self]


@dataclass(frozen=True, slots=True)
class Tally:
    """
    How a set of told readings came out, as sums, so that sets can be added.

    Parameters
    ----------
    count, inside : int
        Readings, and those within the 90 % range told.
    error_sum, seen_sum : float
        Of told mean less reading, and of the readings. [cd/lx/m²]
    crps_sum : float
        [cd/lx/m²]
    judged, below : int
        Readings of signs with a level, and those of them below it.
    said_below_sum, brier_sum : float
        Of the probabilities told of being below, and of their Brier scores.
    places : tuple of int
        How many readings fell in each tenth of the distribution told; a tenth in each is right.
    said, came : tuple of int
        By tenths of the probability told of being below: how many, and how many were.
    """

    count: int = 0
    inside: int = 0
    error_sum: float = 0.0
    seen_sum: float = 0.0
    crps_sum: float = 0.0
    judged: int = 0
    below: int = 0
    said_below_sum: float = 0.0
    brier_sum: float = 0.0
    places: tuple[int, ...] = (0,) * TENTHS
    said: tuple[int, ...] = (0,) * TENTHS
    came: tuple[int, ...] = (0,) * TENTHS

    @classmethod
    def of(cls, told: Telling, seen: FloatArray, level: FloatArray) -> Self:
        """
        Return the tally of readings; a level that is not known is nan.

        Examples
        --------
        >>> from inventory.engineering.forecast.told import Told
        >>> told = Told(np.array([200.0, 200.0]), np.array([10.0, 10.0]), is_log=False)
        >>> one_in = Tally.of(told, np.array([190.0, 150.0]), np.array([160.0, np.nan]))
        >>> one_in.count, one_in.inside, round(one_in.bias_rel, 3), one_in.judged
        (2, 1, 0.176, 1)
        """
        if not len(seen):
            return cls()
        is_inside = (seen >= told.low_cd_lx_m2) & (seen <= told.high_cd_lx_m2)
        has_level = np.isfinite(level)
        said = told.of(has_level).below(level[has_level])
        came = (seen < level)[has_level].astype(np.float64)
        place = tenth_of(said)
        return cls(
            count=len(seen),
            inside=int(is_inside.sum()),
            error_sum=float((told.mean_cd_lx_m2 - seen).sum()),
            seen_sum=float(seen.sum()),
            crps_sum=float(told.crps(seen).sum()),
            judged=int(has_level.sum()),
            below=int(came.sum()),
            said_below_sum=float(said.sum()),
            brier_sum=float(brier(said, came).sum()),
            places=_numbers(tenths(told.below(seen))),
            said=_numbers(np.bincount(place, minlength=TENTHS)),
            came=_numbers(np.bincount(place[came > 0], minlength=TENTHS)),
        )

    def __add__(self, other: Self) -> Self:
        added: dict[str, Any] = {}
        for each in fields(self):
            a, b = getattr(self, each.name), getattr(other, each.name)
            is_row = isinstance(a, tuple)
            added[each.name] = tuple(map(sum, zip(a, b, strict=True))) if is_row else a + b
        return type(self)(**added)

    @property
    def coverage(self) -> Share:
        """Return the share within the 90 % range, with its exact bounds; of 1 or more."""
        return exact_share(self.inside, self.count)

    @property
    def bias_rel(self) -> float:
        """Return told less read, as a share of what was read; over 0 is told too high."""
        return self.error_sum / self.seen_sum

    @property
    def crps_cd_lx_m2(self) -> float:
        """Return the mean score; less is better."""
        return self.crps_sum / self.count

    @property
    def brier(self) -> float:
        """Return the mean Brier score of 'below its level'; less is better."""
        return self.brier_sum / self.judged

    def to_json(self) -> list[Any]:
        """Return it as a list, to store."""
        values = [getattr(self, each.name) for each in fields(self)]
        return [
            list(each)
            if isinstance(each, tuple)
            else round(each, 6)
            if isinstance(each, float)
            else each
            for each in values
        ]

    @classmethod
    def from_json(cls, values: list[Any]) -> Self:
        """
        Return what was stored.

        Examples
        --------
        >>> Tally.from_json(Tally(count=3, inside=2).to_json()).inside
        2
        """
        stored: dict[str, Any] = {
            each.name: tuple(value) if isinstance(value, list) else value
            for each, value in zip(fields(cls), values, strict=True)
        }
        return cls(**stored)


@dataclass(frozen=True, slots=True, eq=False)
class LaterReadings:
    """
    Readings to be told: whose (a sign of the known observations), when, and what came.

    ``level_cd_lx_m2`` is the level of the sign then, nan where not known.
    """

    sign: WholeArray
    ahead_years: FloatArray
    ra_cd_lx_m2: FloatArray
    reading_count: WholeArray
    repeatability_rel: FloatArray
    level_cd_lx_m2: FloatArray

    def __len__(self) -> int:
        return len(self.sign)

    def of(self, chosen: TruthArray) -> "LaterReadings":
        """Return some of them."""
        return LaterReadings(*(getattr(self, each.name)[chosen] for each in fields(self)))


@dataclass(frozen=True, slots=True)
class ToldRow:
    """
    The tally of one rival at one horizon.

    Apart are signs that were read before the day (``was_read``) and those that were not; and
    the next reading of each sign (``is_next``) and those after it. Where signs that are read
    below their level are taken down, readings after the next are of those that held.
    """

    rival: Rival
    horizon: int
    was_read: bool
    is_next: bool
    tally: Tally


def tell_by_fit(
    fit: CohortFit, known: Observations, later: LaterReadings, *, age_now_years: FloatArray
) -> Telling:
    """
    Return what a fit tells of later readings.

    The level of each sign is carried ahead as for its due date; a reading then adds the
    residual (dirt, weather, placement), the instrument's repeatability and the error shared by
    an instrument's day.

    Parameters
    ----------
    fit : CohortFit
        Of ``known``.
    known : Observations
        What was known.
    later : LaterReadings
        Of signs of known age, or read before.
    age_now_years : array of float
        Of each sign of ``known`` on the day the fit stands on; nan where it has none. [year]

    Examples
    --------
    >>> from inventory.engineering.forecast.fit import Scale, fit_cohort
    >>> from inventory.engineering.forecast.shapes import LINEAR
    >>> known = Observations.plain([0, 0, 1, 1], [0, 5, 1, 8], [260, 210, 280, 200])
    >>> fit = fit_cohort(known, scale=Scale.LOG, shape=LINEAR)
    >>> of_one = (np.array([each]) for each in (2.0, 190.0, 4, 0.0, np.nan))
    >>> one = LaterReadings(np.array([0]), *of_one)
    >>> told = tell_by_fit(fit, known, one, age_now_years=np.array([6.0, 9.0]))
    >>> told.mean_cd_lx_m2.round().tolist()
    [186.0]
    """
    return told_of(
        fit,
        [_told_on_scale(each, known, later, age_now_years) for each, _weight in fit.parts],
    )


def _told_on_scale(
    fit: CohortFit, known: Observations, later: LaterReadings, age_now_years: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of later readings, on the scale of a fit."""
    wanted, place = np.unique(later.sign, return_inverse=True)
    ages, is_known = age_now_years[wanted], known.is_age_known[wanted]
    state = forecast_signs(
        fit,
        fit.sums_of(known).of_signs(wanted),
        lot=known.lot[wanted],
        is_age_known=is_known,
        age_now_years=ages,
        level_cd_lx_m2=np.ones(len(wanted)),
        due_probability=0.5,
        quadrant=known.quadrant[wanted],
        district=known.district[wanted],
    )
    t = later.ahead_years
    mean = state.level[place] + t * state.slope[place]
    if fit.shape.knots_years:
        mean += _bend_ahead(fit, ages[place], is_known[place], t)
    share = later.repeatability_rel * fit.unit
    variance = (
        state.of_level[place]
        + 2 * t * state.of_both[place]
        + t * t * state.of_slope[place]
        + fit.variances.residual_sd**2
        + share * share / later.reading_count
        + fit.variances.session_sd**2
    )
    return mean, variance


def _bend_ahead(
    fit: CohortFit, ages: FloatArray, is_age_known: TruthArray, t: FloatArray
) -> FloatArray:
    """Return how far the cohort's curve leaves its tangent within the years ahead."""
    columns = fit.coefficients[: fit.shape.column_count]
    tangent = fit.shape.slope_basis(ages)
    step = design_columns(fit.shape, np.ones(1), np.zeros(1, np.bool_))[0]
    tangent[~is_age_known, 1:] = step[1:]
    there = design_columns(fit.shape, ages + t, is_age_known) @ columns
    here = design_columns(fit.shape, ages, is_age_known) @ columns
    return np.asarray(there - here - t * (tangent @ columns))


def score_later(
    fit: CohortFit, known: Observations, later: LaterReadings, *, age_now_years: FloatArray
) -> list[ToldRow]:
    """
    Return how the fit and its two rivals told later readings, by horizon.

    The three are compared on the same readings. Signs that were not read before are apart:
    there is no line through them, so two are compared. A later reading of a sign that had
    neither an age nor a reading cannot be told by anyone; leave it out beforehand
    (:func:`can_be_told`).

    Parameters
    ----------
    fit, known, later, age_now_years
        As for :func:`tell_by_fit`; two known readings or more.
    """
    read_count = np.bincount(known.sign, minlength=known.sign_count)
    is_age_known = known.is_age_known[later.sign]
    horizon = np.searchsorted(HORIZON_ENDS_YEARS, later.ahead_years, side="left")
    age = age_now_years[later.sign] + later.ahead_years
    was_read = read_count[later.sign] > 0
    soonest = np.full(known.sign_count, np.inf)
    np.minimum.at(soonest, later.sign, later.ahead_years)
    is_next = later.ahead_years == soonest[later.sign]
    rows = []
    for read in (True, False):
        chosen = was_read == read
        if not chosen.any():
            continue
        some = later.of(chosen)
        told: dict[Rival, Telling] = {
            Rival.FORECAST: tell_by_fit(fit, known, some, age_now_years=age_now_years),
            Rival.AGE_TABLE: tell_by_age_table(
                known, age_years=age[chosen], is_age_known=is_age_known[chosen]
            ),
        }
        if read:
            told[Rival.OWN_LINE] = tell_by_own_lines(
                known, sign=some.sign, age_years=age[chosen]
            )
        groups = horizon[chosen] * 2 + is_next[chosen]
        for group in np.unique(groups):
            here = groups == group
            for rival, what in told.items():
                tally = Tally.of(
                    what.of(here), some.ra_cd_lx_m2[here], some.level_cd_lx_m2[here]
                )
                rows.append(ToldRow(rival, int(group) // 2, read, bool(group % 2), tally))
    return rows


def can_be_told(known: Observations, sign: WholeArray) -> TruthArray:
    """
    Return which signs have an age or a reading to start from.

    Examples
    --------
    >>> one = Observations.plain([0], [1.0], [260.0], lot=[-1, -1], is_age_known=[False, False])
    >>> can_be_told(one, np.array([0, 1])).tolist()
    [True, False]
    """
    is_read = np.bincount(known.sign, minlength=known.sign_count) > 0
    return np.asarray(known.is_age_known[sign] | is_read[sign])


@dataclass(frozen=True, slots=True, eq=False)
class History:
    """
    All that was read in a cohort, with when: to roll the day of forecasting through it.

    Times are years from any one day. ``started_years`` per sign: when it was put up, else (age
    not known) anything. ``level_cd_lx_m2`` per sign, nan where not known.
    """

    observations: Observations
    visited_years: FloatArray
    recorded_years: FloatArray
    started_years: FloatArray
    level_cd_lx_m2: FloatArray

    def split(self, at_years: float) -> tuple[Observations, LaterReadings, FloatArray]:
        """
        Return what was recorded by a day, the later readings of the signs there then, and ages.

        A visit made before the day and recorded after it is in neither.
        """
        whole = self.observations
        is_known = self.recorded_years <= at_years
        names = ("sign", "age_years", "ra_cd_lx_m2", "reading_count", "repeatability_rel")
        of_visits = {name: getattr(whole, name)[is_known] for name in (*names, "session")}
        known = replace(whole, **of_visits)
        first = np.full(whole.sign_count, np.inf)
        np.minimum.at(first, whole.sign, self.visited_years)
        since = np.where(whole.is_age_known, self.started_years, first)
        age = np.where(since <= at_years, at_years - since, np.nan)
        is_later = (self.visited_years > at_years) & np.isfinite(age[whole.sign])
        is_later &= can_be_told(known, whole.sign)
        sign = whole.sign[is_later]
        later = LaterReadings(
            sign=sign,
            ahead_years=self.visited_years[is_later] - at_years,
            ra_cd_lx_m2=whole.ra_cd_lx_m2[is_later],
            reading_count=whole.reading_count[is_later],
            repeatability_rel=whole.repeatability_rel[is_later],
            level_cd_lx_m2=self.level_cd_lx_m2[sign],
        )
        return known, later, age


def roll(
    history: History,
    cut_offs_years: Iterable[float],
    *,
    model: Callable[[Observations], CohortFit],
) -> Iterator[tuple[float, list[ToldRow]]]:
    """
    Yield each day of forecasting with how the later readings were told from it.

    A day with fewer than ten known readings, or none later, yields no rows.

    Parameters
    ----------
    history : History
        Of one cohort.
    cut_offs_years : iterable of float
        The days, on the clock of the history. [year]
    model : callable
        What fits the known readings.
    """
    for at in cut_offs_years:
        known, later, age = history.split(at)
        if len(known) < LEAST_KNOWN or not len(later):
            yield at, []
            continue
        yield at, score_later(model(known), known, later, age_now_years=age)


def total(
    rows: Iterable[ToldRow],
    rival: Rival,
    *,
    was_read: bool = True,
    is_next: bool | None = None,
) -> Tally:
    """
    Return one rival's tally over all horizons, of next readings or later ones alone if asked.

    Raises
    ------
    OutOfRangeError
        If it told no reading.
    """
    chosen = [
        each.tally
        for each in rows
        if each.rival is rival and each.was_read is was_read and is_next in (None, each.is_next)
    ]
    if not chosen:
        msg = f"The {rival.words} told no reading; there is nothing to add up."
        raise OutOfRangeError(msg)
    return sum(chosen[1:], chosen[0])


def _numbers(values: npt.NDArray[np.int64]) -> tuple[int, ...]:
    return tuple(int(each) for each in values)
