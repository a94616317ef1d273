"""
Simulated fleets of lots, one of them bad (invented; noise and losses are those of the issue).

Signs differ by 15 % in level and 1 % in yearly change, a visit by 8 %. Each lot went up within
a year, at any time in the last 12; every sign is read first within three years of going up and
then every three years: a third of the network a year, common practice, no source.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from inventory.engineering.forecast.fit import Scale, fit_cohort
from inventory.engineering.forecast.lot_sums import Factor, LotCohort
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.shapes import LINEAR, AgeShape

LEVEL = 5.6  # of log R_A: 270 cd/lx/m² when new
LOSS_PER_YEAR = 0.05
YEARS = 12.0
YEARS_BETWEEN_ROUNDS = 3.0
SIGN_LEVEL_SD, SIGN_SLOPE_SD, READING_SD = 0.15, 0.01, 0.08


@dataclass(frozen=True)
class LotPlan:
    """What a fleet of lots is made with; lot 0 is the planted one where there is one."""

    lots: int = 200
    planted_signs: int = 60  # 0: a clean fleet
    excess: float = 0.4  # of the loss
    planted_years: tuple[float, float] = (9.0, 12.0)  # ago that the planted lot began to go up
    lot_level_sd: float = 0.0
    lot_slope_sd: float = 0.0
    is_curved: bool = False
    tail_dof: float = 0.0  # of Student's t for ordinary lots' changes; 0: they are normal


def loss_at(ages_years, *, is_curved):
    """Log R_A lost by an age: 5 % a year, or fast at first and slower later, as much in all."""
    if not is_curved:
        return LOSS_PER_YEAR * ages_years
    whole = LOSS_PER_YEAR * YEARS
    return whole * (1 - np.exp(-ages_years / 8.0)) / (1 - np.exp(-YEARS / 8.0))


def lot_fleet(plan, seed):
    """Readings of a fleet whose lots have 8 to 120 signs, 25 in the middle."""
    draw = np.random.default_rng(seed)
    sizes = np.clip(np.round(draw.lognormal(np.log(25), 0.5, plan.lots)), 8, 120).astype(int)
    began = draw.uniform(0, YEARS, plan.lots)
    if plan.planted_signs:
        sizes[0] = plan.planted_signs
        began[0] = draw.uniform(*plan.planted_years)
    return _read(plan, draw, np.repeat(np.arange(plan.lots), sizes), began)


def planted_lot(plan, seed, *, number):
    """Readings of a planted lot alone, with the number that it has in a fleet."""
    draw = np.random.default_rng(seed)
    alone = _read(
        plan,
        draw,
        np.zeros(plan.planted_signs, dtype=np.int64),
        np.array([draw.uniform(*plan.planted_years)]),
    )
    return replace(alone, lot=np.full(plan.planted_signs, number))


def both(first, second):
    """Readings of two fleets as one; the signs of the second come last."""
    names = [each.name for each in fields(first)]
    pairs = {name: [getattr(first, name), getattr(second, name)] for name in names}
    pairs["sign"][1] = pairs["sign"][1] + first.sign_count
    return Observations(**{name: np.concatenate(pair) for name, pair in pairs.items()})


def with_sessions(observations, seed, *, sd, by_lot):
    """The same readings with an error per day: of one lot's visits, or of 60 of any."""
    draw = np.random.default_rng(seed)
    key = draw.integers(0, len(observations) // 60, len(observations))
    if by_lot:
        key = observations.lot[observations.sign] * 100 + observations.age_years.astype(int)
    _days, session = np.unique(key, return_inverse=True)
    error = draw.normal(0, sd, session.max() + 1)[session]
    ra = observations.ra_cd_lx_m2 * np.exp(error)
    return replace(observations, session=session, ra_cd_lx_m2=ra)


def _read(plan, draw, lot, began):
    up_years = np.maximum(began[lot] - draw.uniform(0, 1, len(lot)), 0.05)
    rounds = draw.uniform(0, YEARS_BETWEEN_ROUNDS, len(lot))[:, None]
    rounds = rounds + YEARS_BETWEEN_ROUNDS * np.arange(int(YEARS / YEARS_BETWEEN_ROUNDS))
    is_visit = rounds <= up_years[:, None]
    sign = np.repeat(np.arange(len(lot)), is_visit.sum(axis=1))
    age = rounds[is_visit]
    level = LEVEL + draw.normal(0, SIGN_LEVEL_SD, len(lot))
    level += draw.normal(0, 1, len(began))[lot] * plan.lot_level_sd
    slope = draw.normal(0, SIGN_SLOPE_SD, len(lot))
    of_lots = draw.normal(0, 1, len(began))
    if plan.tail_dof:
        of_lots = draw.standard_t(plan.tail_dof, len(began))
        of_lots /= np.sqrt(plan.tail_dof / (plan.tail_dof - 2))
    slope += of_lots[lot] * plan.lot_slope_sd
    times = np.where((lot == 0) & (plan.planted_signs > 0), 1 + plan.excess, 1.0)
    fallen = times[sign] * loss_at(age, is_curved=plan.is_curved)
    noise = draw.normal(0, READING_SD, len(sign))
    log_ra = level[sign] + slope[sign] * age - fallen + noise
    return Observations.plain(sign, age, np.exp(log_ra), lot=lot, is_age_known=lot >= 0)


def lot_cohort(observations, *, is_curved=False, scale=Scale.LOG, **changes):
    """A cohort whose sheeting lots alone are known, fitted on a line or a curve."""
    shape = AgeShape.curved(observations.age_years) if is_curved else LINEAR
    fit = fit_cohort(observations, scale=scale, shape=shape)
    options = {
        "sign_id": np.arange(observations.sign_count),
        "is_installed": np.ones(observations.sign_count, dtype=np.bool_),
    }
    return LotCohort.of(fit, observations, **options | changes)


def with_levels(cohort, **levels):
    """The same cohort with lots of other factors, such as ``run=array``."""
    named = {Factor(name): np.asarray(values) for name, values in levels.items()}
    return LotCohort(
        cohort.fit,
        cohort.grams,
        cohort.is_age_known,
        cohort.sign_id,
        {**cohort.levels, **named},
        cohort.is_installed,
    )
