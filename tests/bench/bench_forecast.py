"""How fast a cohort's model is chosen and fitted and every sign forecast, and against a peer.

The peer is the mixed model of statsmodels on the same readings, random level and slope, REML.
What lots and back-tests find is measured by the rows of the modules in PARTS.
"""

from __future__ import annotations

import importlib
import importlib.util
import resource
import time
import warnings
from dataclasses import replace

import numpy as np
from statsmodels.regression.mixed_linear_model import MixedLM

from inventory.engineering.forecast.both_scales import forecast_of_cohort
from inventory.engineering.forecast.choose import choose_cohort_model
from inventory.engineering.forecast.fit import CohortFit, Scale, fit_cohort
from inventory.engineering.forecast.observations import Observations
from inventory.engineering.forecast.predict import SignForecasts
from inventory.engineering.forecast.shapes import LINEAR
from tests.bench.rows import Row
from tests.engineering.forecast.fleets import simulated

SIZES = (10_000, 30_000, 100_000, 300_000, 1_000_000)
SIGNS_PER_LOT = 60
VISITS_PER_SESSION = 150
SESSION_SD = 0.08
DISTRICTS = 8
PEER_SIGNS = 8_000
VISITS = 3
LIMIT_S = 30.0
LIMIT_GIB = 4.0
LEAST_RATIO = 500
SEED = 20260601
PARTS = (
    "tests.bench.forecast_lots",
    "tests.bench.forecast_proof",
    "tests.bench.forecast_measuring",
)


def run() -> list[Row]:
    """Return the figures; nothing is read from a database."""
    found = [_peer_row(), *(_fleet_row(signs) for signs in SIZES), _memory_row()]
    for part in PARTS:
        if importlib.util.find_spec(part) is not None:
            found += importlib.import_module(part).rows()
    return found


def _fleet(signs: int) -> Observations:
    """Return a fleet with lots, sessions, facings and districts, as an agency has them."""
    observations: Observations
    observations, _level, _slope = simulated(
        SEED, signs, visits=VISITS, lots=signs // SIGNS_PER_LOT, repeatability=0.05
    )
    draw = np.random.default_rng(SEED + 1)
    sessions = len(observations) // VISITS_PER_SESSION
    session = draw.integers(0, sessions, len(observations))
    error = np.exp(draw.normal(0, SESSION_SD, sessions))
    return replace(
        observations,
        session=session,
        ra_cd_lx_m2=observations.ra_cd_lx_m2 * error[session],
        quadrant=draw.integers(0, 4, signs),
        district=draw.integers(0, DISTRICTS, signs),
    )


def _fleet_row(signs: int) -> Row:
    observations = _fleet(signs)
    started = time.perf_counter()
    times: list[float] = []

    def tell(words: str) -> None:
        if words.startswith("summing") and not times:
            times.append(time.perf_counter() - started)

    chosen = choose_cohort_model(observations, progress=tell)
    fitted_s = time.perf_counter() - started
    _forecast(chosen.fit, observations)
    whole_s = time.perf_counter() - started
    is_largest = signs == SIZES[-1]
    model = next(score for score in chosen.scores if score.is_chosen)
    return Row(
        name=f"choose, fit and forecast {signs:,} signs, {len(observations):,} visits",
        value=whole_s,
        unit="s",
        target=f"≤ {LIMIT_S:g} s" if is_largest else None,
        holds=whole_s <= LIMIT_S if is_largest else None,
        note=f"{whole_s / signs * 1e6:.1f} µs a sign; choice {times[0]:.2f} s, fit "
        f"{fitted_s - times[0]:.2f} s, forecast {whole_s - fitted_s:.2f} s; with lots and "
        f"{len(observations) // VISITS_PER_SESSION:,} sessions; {model.words}",
    )


def _peer_row() -> Row:
    observations, _level, _slope = simulated(SEED, PEER_SIGNS, visits=VISITS)
    columns = LINEAR.basis(observations.age_years)
    response = np.log(observations.ra_cd_lx_m2)
    ours_s = min(_fit_seconds(observations) for _repeat in range(3))
    started = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of its convergence; its time is what counts
        MixedLM(response, columns, observations.sign, exog_re=columns).fit(
            reml=True, method="lbfgs"
        )
    peer_s = time.process_time() - started
    ratio = peer_s / ours_s
    return Row(
        name=f"fit {PEER_SIGNS:,} signs with {VISITS} visits each",
        value=ours_s,
        unit="CPU s",
        peer="statsmodels MixedLM",
        peer_value=peer_s,
        ratio=ratio,
        target=f"≥ {LEAST_RATIO} × the peer",
        holds=ratio >= LEAST_RATIO,
    )


def _fit_seconds(observations: Observations) -> float:
    started = time.process_time()
    fit_cohort(observations, scale=Scale.LOG, shape=LINEAR, prior=None)
    return time.process_time() - started


def _forecast(fit: CohortFit, observations: Observations) -> SignForecasts:
    number = observations.sign_count
    grams = [each.grams for each, _weight in fit.parts]
    return forecast_of_cohort(
        fit,
        [each for each in grams if each is not None],
        quadrant=observations.quadrant,
        district=observations.district,
        lot=observations.lot,
        is_age_known=observations.is_age_known,
        age_now_years=np.full(number, 12.0),
        level_cd_lx_m2=np.full(number, 100.0),
        due_probability=0.2,
    )


def _memory_row() -> Row:
    peak_gib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    return Row(
        name="most memory of all this, with making the fleet",
        value=peak_gib,
        unit="GiB",
        target=f"≤ {LIMIT_GIB:g} GiB",
        holds=peak_gib <= LIMIT_GIB,
    )
