"""What some of a lot's signs say of it: without those of another lot, or without one."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inventory.engineering.forecast.lot_sums import (
    Line,
    LotCohort,
    LotSlopes,
    slopes_of_lots,
    sums_of_signs,
    without_level,
)
from inventory.engineering.forecast.lots import Entries, FactorTest, combined
from inventory.engineering.inspection.student import WholeArray


@dataclass(frozen=True, slots=True, eq=False)
class PartOfLot:
    """What some of a lot's signs say alone, against the same line as the lot."""

    effect_per_year: float
    variance: float  # infinite where they say nothing
    sign_count: int


def part_of_lot(
    cohorts: Sequence[LotCohort], test: FactorTest, place: int, sign_ids: WholeArray
) -> PartOfLot:
    """
    Return the effect of a lot from some of its signs alone.

    Parameters
    ----------
    cohorts : sequence of LotCohort
        Those of the test.
    test : FactorTest
        Of the lot's factor.
    place : int
        Which lot of the test.
    sign_ids : array of int
        The signs to go by; others, and those not of the lot, are left out.
    """
    slopes, entries, ids = _of_parts(cohorts, test, place, sign_ids, each_without=False)
    if slopes is None:
        return PartOfLot(0.0, np.inf, len(ids))
    found = combined(slopes, entries, 1)
    return PartOfLot(float(found.deviation[0]), float(found.variance[0]), len(ids))


def weakest_p_without_a_sign(
    cohorts: Sequence[LotCohort], test: FactorTest, place: int, sign_ids: WholeArray
) -> float:
    """Return the largest p-value of a lot when any one of its signs is left out."""
    slopes, entries, ids = _of_parts(cohorts, test, place, sign_ids, each_without=True)
    if slopes is None:
        return 1.0
    found = combined(slopes, entries, len(ids))
    return float(test.p_of(place, found.deviation, found.variance).max())


def _of_parts(
    cohorts: Sequence[LotCohort],
    test: FactorTest,
    place: int,
    sign_ids: WholeArray,
    *,
    each_without: bool,
) -> tuple[LotSlopes | None, Entries, WholeArray]:
    """Return the slopes of a part of a lot by cohort: one row, or one without each sign."""
    level = test.level[place]
    parts: list[tuple[LotSlopes, WholeArray]] = []
    rows = 1
    chosen_of = []
    for cohort in cohorts:
        is_of = (cohort.levels[test.factor] == level) & (cohort.visits_per_sign() > 0)
        chosen_of.append(np.flatnonzero(is_of & np.isin(cohort.sign_id, sign_ids)))
    ids = np.unique(
        np.concatenate(
            [cohort.sign_id[chosen] for cohort, chosen in zip(cohorts, chosen_of, strict=True)]
        )
    )
    rows = len(ids) if each_without else 1
    for k, (cohort, chosen) in enumerate(zip(cohorts, chosen_of, strict=True)):
        if not len(chosen):
            continue
        columns = cohort.grams.column_count
        left, whole = sums_of_signs(cohort, chosen)
        all_left = np.repeat(left.sum(axis=1, keepdims=True), rows, axis=1)
        all_whole = np.repeat(whole.sum(axis=1, keepdims=True), rows, axis=1)
        if each_without:
            at = np.searchsorted(ids, cohort.sign_id[chosen])
            all_left[:, at] -= left
            all_whole[:, at] -= whole
        sums = without_level(all_left, columns, all_whole)
        where = int(np.searchsorted(test.sums[k].number, level))
        line = Line(
            np.repeat(test.lines[k].coefficients[where : where + 1], rows, axis=0),
            np.repeat(test.lines[k].covariance[where : where + 1], rows, axis=0),
        )
        parts.append((slopes_of_lots(sums, line), cohort.sign_id[chosen]))
    kept = [(found, own) for found, own in parts if np.isfinite(found.own_variance).all()]
    level_of = np.tile(np.arange(rows), len(kept))
    first, second, shared = [], [], []
    for a in range(len(kept)):
        for b in range(a + 1, len(kept)):
            common = len(np.intersect1d(kept[a][1], kept[b][1]))
            if common:
                first.append(a * rows + np.arange(rows))
                second.append(b * rows + np.arange(rows))
                share = common / np.sqrt(len(kept[a][1]) * len(kept[b][1]))
                shared.append(np.full(rows, share))
    none = np.zeros(0, dtype=np.int64)
    entries = Entries(
        cohort=none,
        place=none,
        level=level_of,
        first=np.concatenate(first) if first else none,
        second=np.concatenate(second) if second else none,
        shared=np.concatenate(shared) if shared else np.zeros(0),
    )
    if not kept:
        return None, entries, ids
    slopes = LotSlopes(
        *(
            np.concatenate([getattr(found, name) for found, _own in kept])
            for name in ("deviation", "own_variance", "line_variance", "cohort_slope")
        )
    )
    return slopes, entries, ids
