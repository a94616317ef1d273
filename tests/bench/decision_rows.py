"""How fast colours and contrasts are decided: a million at once against one by one.

The peer is the same rule in plain Python, one element after the other, with SciPy's
distribution functions and with the quantiles it has found kept; the tests hold the two to the
same answers (``tests/engineering/assessment/plain_decision.py``). Time is that of one core
(process time), so that a busy machine changes the figures little.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtr, stdtr

from inventory.engineering.assessment.contrast import decide_contrasts
from inventory.engineering.assessment.decision import (
    SIMPLE_ACCEPTANCE,
    DecisionRule,
    decide_levels,
)
from inventory.engineering.inspection.uncertainty import ResultColumns, reduce_columns
from tests.bench.rows import Row
from tests.engineering.assessment import plain_decision

if TYPE_CHECKING:
    from collections.abc import Callable

    from inventory.engineering.inspection.student import WholeArray

ELEMENTS = 1_000_000
ELEMENTS_ONE_BY_ONE = 20_000
MOST_READINGS = 7
REPEATS = 5
SEED = 20260602
AIM = 1_000_000  # colour verdicts a second on one core
GUARDED = DecisionRule(0.95)
LEVELS = (7_000, 15_000, 35_000, 50_000, 75_000, 120_000)
RATIO = 3_000


def rows() -> list[Row]:
    """Return verdicts a second of both rules, with uncertainty from the sums, and contrasts."""
    sums, levels = _sums()
    results = _reduce(*sums)
    white, red = results, _reduce(*_sums(seed=SEED + 1, divided_by=4)[0])
    ratios = np.full(ELEMENTS, RATIO)
    is_shared = np.full(ELEMENTS, True)
    plain_results, plain_reds = _plain(white), _plain(red)
    plain_levels = levels[:ELEMENTS_ONE_BY_ONE].tolist()

    def levels_one_by_one(required: float | None) -> None:
        for result, level in zip(plain_results, plain_levels, strict=True):
            plain_decision.judge_level(result, level, required, _library)

    def contrasts_one_by_one() -> None:
        for one, other in zip(plain_results, plain_reds, strict=True):
            plain_decision.judge_contrast(one, other, RATIO, 0.95, True, _library)

    return [
        _row(
            "colour verdicts with p and U, simple acceptance, one core",
            lambda: decide_levels(results, levels, SIMPLE_ACCEPTANCE),
            lambda: levels_one_by_one(None),
        ),
        _row(
            "colour verdicts with p, U, guard and further readings, one core",
            lambda: decide_levels(results, levels, GUARDED),
            lambda: levels_one_by_one(0.95),
        ),
        _row(
            "the same, uncertainty from the sums of readings included",
            lambda: decide_levels(_reduce(*sums), levels, GUARDED),
            None,
        ),
        _row(
            "contrast verdicts with p, Fieller's interval, guard, one core",
            lambda: decide_contrasts(white, red, ratios, is_shared, GUARDED),
            contrasts_one_by_one,
            has_aim=False,
        ),
    ]


def _sums(
    seed: int = SEED, divided_by: int = 1
) -> tuple[tuple[WholeArray, WholeArray, WholeArray], WholeArray]:
    """Return sums, numbers and sums of squares of invented readings near invented levels."""
    draw = np.random.default_rng(seed)
    counts = draw.integers(1, MOST_READINGS + 1, ELEMENTS)
    levels = draw.choice(np.array(LEVELS), ELEMENTS)
    true = levels * draw.uniform(0.6, 2.0, ELEMENTS) / divided_by
    scatter = draw.normal(1.0, 0.06, (ELEMENTS, MOST_READINGS))
    values = np.rint(true[:, np.newaxis] * scatter).astype(np.int64).clip(0)
    values[np.arange(MOST_READINGS) >= counts[:, np.newaxis]] = 0
    return (values.sum(axis=1), counts, (values * values).sum(axis=1)), levels


def _reduce(totals: WholeArray, counts: WholeArray, squares: WholeArray) -> ResultColumns:
    return reduce_columns(
        totals,
        counts,
        squares,
        repeatability_rel=0.03,
        common_rel=0.08,
        single_scatter_rel=0.1,
    )


def _library(deviation: float, whole: int | None) -> float:
    """Return the normal or Student's distribution function, one value at a time."""
    return float(ndtr(deviation) if whole is None else stdtr(whole, deviation))


def _plain(results: ResultColumns) -> list[Any]:
    """Return the first results as plain tuples."""
    columns = (
        results.total_thousandths,
        results.count,
        results.scatter_cd_lx_m2,
        results.scatter_dof,
        results.common_cd_lx_m2,
    )
    parts = [column[:ELEMENTS_ONE_BY_ONE].tolist() for column in columns]
    return list(zip(*parts, strict=True))


def _row(
    name: str,
    together: Callable[[], object],
    one_by_one: Callable[[], object] | None,
    *,
    has_aim: bool = True,
) -> Row:
    rate = ELEMENTS / _least_s(together)
    peer_rate = None
    if one_by_one is not None:
        one_by_one()  # finds the quantiles once, as a fleet would
        peer_rate = ELEMENTS_ONE_BY_ONE / _least_s(one_by_one)
    return Row(
        name=name,
        value=rate,
        unit="1/s",
        peer=None if peer_rate is None else "plain Python, one by one",
        peer_value=peer_rate,
        ratio=None if peer_rate is None else rate / peer_rate,
        target=f"≥ {AIM:,}" if has_aim else None,
        holds=rate >= AIM if has_aim else None,
    )


def _least_s(work: Callable[[], object]) -> float:
    """Return the least of several process times of a piece of work."""
    times = []
    for _ in range(REPEATS):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return min(times)
