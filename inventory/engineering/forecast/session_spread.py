"""The variances of a cohort with sessions: each in turn until none moves."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from inventory.engineering.forecast.likelihood import CohortSums
from inventory.engineering.forecast.sessions import (
    improved_session_sd,
    number_sessions,
    solve_sessions,
)
from inventory.engineering.forecast.spread import (
    Prior,
    Search,
    fit_variances,
    sample_of_lots,
    sums_of_sample,
)
from inventory.engineering.forecast.sums import Visits
from inventory.engineering.forecast.variances import Variances
from inventory.engineering.inspection.student import WholeArray

MOST_ROUNDS = 6
ENOUGH = 0.01  # no standard deviation moves by more: 1 %


def fit_variances_with_sessions(
    visits: Visits,
    session: WholeArray,
    cohort: CohortSums,
    prior: Prior | None,
    unit: float,
    session_sd: float,
    *,
    start: Variances | None,
    search: Search | None,
    progress: Callable[[str], None],
) -> Variances:
    """
    Return the variances of signs, lots and visits, and of sessions.

    Each round finds the sessions' errors at the variances of the round before, then the
    variances of all else from the readings with these taken out, then the sessions'.

    Parameters
    ----------
    visits, session, cohort
        As for :func:`~inventory.engineering.forecast.sessions.solve_sessions`.
    prior : Prior, optional
        None: flat, for comparison with other programs.
    unit : float
        What a share is of on the scale fitted.
    session_sd : float
        What is stated of the sessions' spread, on the scale fitted.
    start : Variances, optional
        Where to begin, where its sessions differ.
    search : Search, optional
        What the last search of nearly the same readings learnt; learns from these.
    progress : callable
        Told in words.
    """
    chosen = sample_of_lots(cohort)
    sample = sums_of_sample(cohort, chosen)
    some, kept = visits.of_signs(chosen)
    place, count = number_sessions(session[kept])
    search = search or Search()
    factor = None if prior is None else prior.session_factor
    if start is not None and start.session_sd and start.has_lots == bool(sample.lot_count):
        variances = start
    else:
        first = fit_variances(sample, prior, unit, search=search)
        left = max(first.residual_sd**2 - session_sd**2, 0.25 * first.residual_sd**2)
        variances = replace(first, residual_sd=float(np.sqrt(left)), session_sd=session_sd)
    for turn in range(1, MOST_ROUNDS + 1):
        progress(f"telling {count:,} sessions from signs, round {turn}")
        found = solve_sessions(some, place, count, sample, variances, is_for_variances=True)
        others = fit_variances(sample.with_grams(found.grams), prior, unit, variances, search)
        of_sessions = improved_session_sd(variances.session_sd, found, session_sd, factor)
        new = replace(others, session_sd=of_sessions)
        moved = np.abs(_logarithms(new) - _logarithms(variances)).max()
        variances = new
        if moved < ENOUGH:
            break
    return variances


def _logarithms(variances: Variances) -> np.ndarray:
    sds = (
        variances.residual_sd,
        variances.sign_level_sd,
        variances.session_sd,
    )
    return np.log(sds)
