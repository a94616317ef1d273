"""Simulated readings whose truth is known (invented; the spreads are those of the issue)."""

from dataclasses import replace

import numpy as np

from inventory.engineering.forecast.observations import Observations

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
