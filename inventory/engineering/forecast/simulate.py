"""Fleets whose truth is known: made up, seeded, to check what is fitted and forecast."""

from dataclasses import dataclass, fields

import numpy as np

from inventory.engineering.forecast.backtest import History
from inventory.engineering.forecast.observations import UNKNOWN, Observations, TruthArray
from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.errors import OutOfRangeError

RECORDED_AFTER_YEARS = 0.01
DOUBTFUL_SHARE = 1.25  # a reading up to a quarter above the level is doubtful
DOUBTFUL_EVERY_YEARS = 1.0


@dataclass(frozen=True, slots=True)
class FleetPlan:
    """
    How a fleet is made up and read. Every default is invented; none is a published figure.

    Parameters
    ----------
    signs : int
        Posts, each with a sign from the first day; a sign taken down is followed by a new one.
    years : int
        How many years readings are taken.
    visit_every_years : float
        Mean time between readings of a sign. [year]
    oldest_at_start_years : float
        Signs are of any age up to this on the first day. [year]
    new_ra_cd_lx_m2, decline_per_year, bend : float
        log R_A at age a is log(new) − decline · a − bend · (a/10)².
    sign_level_sd, sign_slope_sd, residual_sd, session_sd, repeatability_rel : float
        Standard deviations on the log scale; ``session_sd`` is that of instrument and day.
    signs_per_lot : int
        Lots follow one another in time; 0: no lots.
    lot_level_sd, lot_slope_sd : float
        Their ordinary spread on the log scale.
    unknown_age_share : float
        Of the signs of the first day.
    level_cd_lx_m2 : float
        Each must keep.
    replaces_below : bool
        A sign read below its level is taken down: later readings are of those that held.
    reads_doubtful_more : bool
        A sign read less than a quarter above its level is read every year.
    lost_per_year : float
        Knocked down or stolen, whatever its R_A.
    damaged_per_year : float
        Lose 20 to 70 % of their R_A at once, and nobody writes it down.

    Raises
    ------
    OutOfRangeError
        If a figure is negative, or a number that must be over 0 is not.
    """

    signs: int = 1_000
    years: int = 10
    visit_every_years: float = 2.5
    oldest_at_start_years: float = 8.0
    new_ra_cd_lx_m2: float = 270.0
    decline_per_year: float = 0.05
    bend: float = 0.0
    sign_level_sd: float = 0.15
    sign_slope_sd: float = 0.01
    residual_sd: float = 0.08
    repeatability_rel: float = 0.05
    session_sd: float = 0.0
    sessions_per_year: int = 12
    signs_per_lot: int = 0
    lot_level_sd: float = 0.03
    lot_slope_sd: float = 0.003
    unknown_age_share: float = 0.0
    level_cd_lx_m2: float = 150.0
    replaces_below: bool = False
    reads_doubtful_more: bool = False
    lost_per_year: float = 0.0
    damaged_per_year: float = 0.0

    def __post_init__(self) -> None:
        for each in fields(self):
            value = getattr(self, each.name)
            over_0 = each.name in {
                "signs",
                "years",
                "visit_every_years",
                "new_ra_cd_lx_m2",
                "sessions_per_year",
                "level_cd_lx_m2",
            }
            if value < 0 or (over_0 and not value):
                bound = "over 0" if over_0 else "0 or more"
                msg = f"{each.name} is {value:g}; it is {bound} for a fleet to be made."
                raise OutOfRangeError(msg)


@dataclass(frozen=True, slots=True, eq=False)
class SimulatedFleet:
    """
    What was read on a made-up fleet, when, and the truth that it was made with.

    Times are years from the first day. Per visit: ``visited_years``, ``recorded_years``. Per
    sign: ``put_up_years`` (before 0 for most), ``removed_years`` (infinite: still up),
    ``true_level`` and ``true_slope`` of log R_A, lots included, ``damaged_years`` (infinite:
    never).
    """

    plan: FleetPlan
    observations: Observations
    visited_years: FloatArray
    recorded_years: FloatArray
    put_up_years: FloatArray
    removed_years: FloatArray
    true_level: FloatArray
    true_slope: FloatArray
    damaged_years: FloatArray

    @property
    def mean_slope(self) -> float:
        """Return the slope that signs were drawn around, without the bend."""
        return -self.plan.decline_per_year

    @property
    def history(self) -> History:
        """Return what was read, with when, to roll the day of forecasting through it."""
        return History(
            observations=self.observations,
            visited_years=self.visited_years,
            recorded_years=self.recorded_years,
            started_years=self.put_up_years,
            level_cd_lx_m2=np.full(len(self.put_up_years), self.plan.level_cd_lx_m2),
        )

    def true_ra_cd_lx_m2(self, at_years: float) -> FloatArray:
        """Return what each sign that was never damaged truly returns at a time."""
        age = at_years - self.put_up_years
        return np.exp(
            self.true_level + self.true_slope * age - self.plan.bend * (age / 10) ** 2
        )


@dataclass(slots=True)
class _Signs:
    """The signs ever put up, in the order in which they were."""

    put_up: FloatArray
    level: FloatArray
    slope: FloatArray
    lot: WholeArray
    lost: FloatArray
    damaged: FloatArray
    left_after_damage: FloatArray
    next_visit: FloatArray
    removed: FloatArray

    def add(self, other: "_Signs") -> None:
        for each in fields(self):
            name = each.name
            both = np.concatenate([getattr(self, name), getattr(other, name)])
            setattr(self, name, both)


def simulate_fleet(plan: FleetPlan, seed: int) -> SimulatedFleet:
    """
    Return a fleet made by a plan; the same seed makes the same fleet.

    Parameters
    ----------
    plan : FleetPlan
        What it is made with.
    seed : int
        Of the draws.

    Examples
    --------
    >>> fleet = simulate_fleet(FleetPlan(signs=100, replaces_below=True), 1)
    >>> bool((fleet.removed_years < 10).any()), fleet.observations.sign_count > 100
    (True, True)
    """
    draw = np.random.default_rng(seed)
    effects = _Lots(plan, draw)
    start = -np.sort(draw.uniform(0, plan.oldest_at_start_years, plan.signs))[::-1]
    signs = _put_up(plan, draw, effects, start, draw.uniform(0, 1, plan.signs))
    is_age_known = draw.random(plan.signs) >= plan.unknown_age_share
    parts = []
    for year in range(plan.years):
        parts.append(_read(plan, draw, signs, year))
        signs.removed = np.where(
            np.isinf(signs.removed) & (signs.lost < year + 1), signs.lost, signs.removed
        )
        gone = int(((signs.removed >= year) & (signs.removed < year + 1)).sum())
        if gone:
            when = np.full(gone, year + 1.0)
            wait = plan.visit_every_years * draw.uniform(0.5, 1.5, gone)
            signs.add(_put_up(plan, draw, effects, when, wait))
    sign, at, session, ra = (np.concatenate(each) for each in zip(*parts, strict=True))
    order = np.lexsort((at, sign))
    sign, at, session, ra = sign[order], at[order], session[order], ra[order]
    number = len(signs.put_up)
    is_known = np.concatenate([is_age_known, np.ones(number - plan.signs, dtype=np.bool_)])
    first = np.full(number, np.inf)
    np.minimum.at(first, sign, at)
    since = np.where(is_known, signs.put_up, first)
    observations = Observations.plain(
        sign,
        at - since[sign],
        ra,
        repeatability_rel=plan.repeatability_rel,
        session=session if plan.session_sd else UNKNOWN,
        lot=signs.lot,
        is_age_known=is_known,
    )
    return SimulatedFleet(
        plan=plan,
        observations=observations,
        visited_years=at,
        recorded_years=at + RECORDED_AFTER_YEARS,
        put_up_years=signs.put_up,
        removed_years=signs.removed,
        true_level=signs.level,
        true_slope=signs.slope,
        damaged_years=signs.damaged,
    )


class _Lots:
    """The lots' effects, drawn as lots are begun."""

    def __init__(self, plan: FleetPlan, draw: np.random.Generator) -> None:
        self._plan, self._draw, self._used = plan, draw, 0
        self._level: FloatArray = np.empty(0)
        self._slope: FloatArray = np.empty(0)

    def take(self, number: int) -> tuple[WholeArray, FloatArray, FloatArray]:
        """Return lot, level and slope of the next so many signs."""
        plan = self._plan
        if not plan.signs_per_lot:
            return np.full(number, UNKNOWN), np.zeros(number), np.zeros(number)
        lot = (self._used + np.arange(number)) // plan.signs_per_lot
        self._used += number
        more = int(lot[-1]) + 1 - len(self._level) if number else 0
        self._level = np.append(self._level, self._draw.normal(0, plan.lot_level_sd, more))
        self._slope = np.append(self._slope, self._draw.normal(0, plan.lot_slope_sd, more))
        return lot, self._level[lot], self._slope[lot]


def _put_up(
    plan: FleetPlan,
    draw: np.random.Generator,
    lots: _Lots,
    when: FloatArray,
    first_visit_after: FloatArray,
) -> _Signs:
    number = len(when)
    lot, lot_level, lot_slope = lots.take(number)
    # The signs of the first day have come through all that was before it.
    since = np.maximum(when, 0.0)
    return _Signs(
        put_up=when,
        level=np.log(plan.new_ra_cd_lx_m2)
        + draw.normal(0, plan.sign_level_sd, number)
        + lot_level,
        slope=draw.normal(-plan.decline_per_year, plan.sign_slope_sd, number) + lot_slope,
        lot=lot,
        lost=since + _waits(draw, plan.lost_per_year, number),
        damaged=since + _waits(draw, plan.damaged_per_year, number),
        left_after_damage=draw.uniform(0.3, 0.8, number),
        next_visit=since + first_visit_after * (plan.visit_every_years if when[0] < 0 else 1.0),
        removed=np.full(number, np.inf),
    )


def _waits(draw: np.random.Generator, per_year: float, number: int) -> FloatArray:
    waits = draw.exponential(1.0, number)
    return waits / per_year if per_year else np.full(number, np.inf)


def _read(
    plan: FleetPlan, draw: np.random.Generator, signs: _Signs, year: int
) -> tuple[WholeArray, FloatArray, WholeArray, FloatArray]:
    """Return sign, time, session and R_A of a year's readings; take down, plan the next."""
    chosen: WholeArray = np.flatnonzero(np.isinf(signs.removed) & (signs.next_visit < year + 1))
    session = draw.integers(0, plan.sessions_per_year, len(chosen))
    shared = draw.normal(0, 1, plan.sessions_per_year) * plan.session_sd
    at = year + (session + 0.5) / plan.sessions_per_year
    is_there: TruthArray = (signs.lost[chosen] > at) & (signs.put_up[chosen] < at)
    noise = np.hypot(plan.residual_sd, plan.repeatability_rel / 2)  # four readings a visit
    log_ra = draw.normal(0, noise, len(chosen)) + shared[session]
    chosen, session = chosen[is_there], session[is_there]
    at, log_ra = at[is_there], log_ra[is_there]
    age = at - signs.put_up[chosen]
    log_ra += signs.level[chosen] + signs.slope[chosen] * age - plan.bend * (age / 10) ** 2
    is_damaged = signs.damaged[chosen] < at
    log_ra += np.where(is_damaged, np.log(signs.left_after_damage[chosen]), 0.0)
    ra = np.exp(log_ra)
    every = plan.visit_every_years * draw.uniform(0.75, 1.25, len(chosen))
    if plan.reads_doubtful_more:
        every = np.where(ra < plan.level_cd_lx_m2 * DOUBTFUL_SHARE, DOUBTFUL_EVERY_YEARS, every)
    signs.next_visit[chosen] = at + every
    if plan.replaces_below:
        signs.removed[chosen[ra < plan.level_cd_lx_m2]] = at[ra < plan.level_cd_lx_m2]
    return chosen, at, session + year * plan.sessions_per_year, ra
