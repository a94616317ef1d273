"""Simulated readings whose truth is known (invented; the spreads are those of the issue)."""

from dataclasses import replace

import numpy as np

from inventory.engineering.forecast.backtest import History
from inventory.engineering.forecast.observations import UNKNOWN, Observations

LEVEL, SLOPE = 5.6, -0.05  # of log R_A: 270 cd/lx/m² when new, 5 % a year


def simulated(
    seed,
    signs,
    *,
    visits=3,
    lots=0,
    residual=0.08,
    level_sd=0.15,
    slope_sd=0.01,
    lot_sds=(0.05, 0.004),
    unknown_ages=0.0,
    repeatability=0.0,
):
    """Signs read ``visits`` times within 15 years; also their true levels and slopes."""
    draw = np.random.default_rng(seed)
    sign = np.repeat(np.arange(signs), visits)
    age = np.sort(draw.uniform(0, 15, (signs, visits)), axis=1)
    lot = draw.integers(0, lots, signs) if lots else np.full(signs, -1)
    level = LEVEL + draw.normal(0, level_sd, signs)
    slope = SLOPE + draw.normal(0, slope_sd, signs)
    if lots:
        level += draw.normal(0, lot_sds[0], lots)[lot]
        slope += draw.normal(0, lot_sds[1], lots)[lot]
    counts = draw.integers(1, 6, len(sign)) if repeatability else np.full(len(sign), 4)
    noise_sd = np.sqrt(residual**2 + repeatability**2 / counts)
    log_ra = level[sign] + slope[sign] * age.ravel() + draw.normal(0, 1, len(sign)) * noise_sd
    is_known = draw.random(signs) >= unknown_ages
    seen = np.where(is_known[:, None], age, age - age[:, :1])
    observations = Observations.plain(
        sign,
        seen.ravel(),
        np.exp(log_ra),
        reading_count=counts,
        repeatability_rel=repeatability,
        lot=lot,
        is_age_known=is_known,
    )
    return observations, level, slope


def in_sessions(observations, session, session_sd, seed):
    """Return the observations read in sessions that share an error; −1 has one of its own."""
    draw = np.random.default_rng(seed + 1_000)
    error = draw.normal(0, session_sd, int(session.max()) + 1)[session]
    error = np.where(session >= 0, error, draw.normal(0, session_sd, len(session)))
    return replace(
        observations, session=session, ra_cd_lx_m2=observations.ra_cd_lx_m2 * np.exp(error)
    )


def small_history(truth: str, *, seed: int, signs: int = 60) -> History:
    """
    Return a small cohort read every third year for twelve, made along lines of R_A or its log.

    Invented: 270 cd/lx/m² when new, signs 15 % apart, 5.5 % of the new value (or of R_A) less
    a year, 1.2 % apart, readings 8.5 %; a straight line stops at a tenth of the new value.
    """
    draw = np.random.default_rng([seed, truth == "log"])
    put_up = -draw.uniform(0, 8, signs)
    new = 270.0 * np.exp(draw.normal(0, 0.15, signs))
    fall = np.maximum(draw.normal(0.055, 0.012, signs), 0.005)
    is_read = draw.random((signs, 4)) < 0.6
    sign, turn = np.nonzero(is_read)
    at = 1.0 + 3.0 * turn + draw.uniform(0, 0.3, len(sign))
    age = at - put_up[sign]
    left = (
        np.exp(-fall[sign] * age) if truth == "log" else np.maximum(1.0 - fall[sign] * age, 0.1)
    )
    ra = new[sign] * left * np.exp(draw.normal(0, 0.085, len(sign)))
    observations = Observations.plain(
        sign, age, ra, lot=np.full(signs, UNKNOWN), is_age_known=np.ones(signs, dtype=bool)
    )
    return History(observations, at, at, put_up, np.full(signs, 130.0))
