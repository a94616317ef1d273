"""Which signs are of which lot: read, read more than once, standing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from inventory.engineering.forecast.lot_sums import Factor, LotCohort
from inventory.engineering.forecast.observations import UNKNOWN
from inventory.engineering.inspection.student import WholeArray


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Lots and their signs, in the order of lot and sign."""

    level: WholeArray
    sign_id: WholeArray
    visits: WholeArray  # the most in any one colour
    is_installed: WholeArray

    def of(self, level: int) -> slice:
        first, last = np.searchsorted(self.level, [level, level + 1])
        return slice(int(first), int(last))


@dataclass(frozen=True, slots=True, eq=False)
class LotSigns:
    """The signs of every lot of every factor, over all cohorts and colours."""

    pairs: Mapping[Factor, _Pairs]

    @classmethod
    def gather(cls, cohorts: Sequence[LotCohort]) -> "LotSigns":
        """Return the signs of the lots of cohorts."""
        visits = [cohort.visits_per_sign().astype(np.int64) for cohort in cohorts]
        return cls({factor: _pairs(cohorts, visits, factor) for factor in Factor})

    def levels(self, factor: Factor) -> WholeArray:
        """Return the numbers of the lots of a factor, ascending."""
        return np.unique(self.pairs[factor].level)

    def all_of(self, factor: Factor, level: int) -> WholeArray:
        """Return the signs of a lot, ascending."""
        pairs = self.pairs[factor]
        return pairs.sign_id[pairs.of(level)]

    def read(self, factor: Factor, level: int) -> WholeArray:
        """Return the signs of a lot that were read, ascending."""
        pairs = self.pairs[factor]
        part = pairs.of(level)
        return pairs.sign_id[part][pairs.visits[part] > 0]

    def read_twice(self, factor: Factor, level: int) -> WholeArray:
        """Return the signs of a lot that were read twice or more, ascending."""
        pairs = self.pairs[factor]
        part = pairs.of(level)
        return pairs.sign_id[part][pairs.visits[part] > 1]

    def standing(self, factor: Factor, level: int) -> WholeArray:
        """Return the signs of a lot that stand now, ascending."""
        pairs = self.pairs[factor]
        part = pairs.of(level)
        return pairs.sign_id[part][pairs.is_installed[part] > 0]

    def visit_count(self, factor: Factor, level: int) -> int:
        """Return how often signs of a lot were read; a visit to several colours counts once."""
        pairs = self.pairs[factor]
        return int(pairs.visits[pairs.of(level)].sum())

    def counts(self, factor: Factor, levels: WholeArray) -> tuple[WholeArray, WholeArray]:
        """Return how many signs of each lot were read, and how many twice or more."""
        pairs = self.pairs[factor]
        first = np.searchsorted(pairs.level, levels)
        last = np.searchsorted(pairs.level, levels + 1)
        read = np.append(0, np.cumsum(pairs.visits > 0))
        twice = np.append(0, np.cumsum(pairs.visits > 1))
        return read[last] - read[first], twice[last] - twice[first]


def _pairs(
    cohorts: Sequence[LotCohort], visits: Sequence[WholeArray], factor: Factor
) -> _Pairs:
    none = [np.zeros(0, dtype=np.int64)]
    kept = [cohort.levels[factor] != UNKNOWN for cohort in cohorts]
    level = np.concatenate(
        [each.levels[factor][some] for each, some in zip(cohorts, kept, strict=True)] or none
    )
    sign = np.concatenate(
        [each.sign_id[some] for each, some in zip(cohorts, kept, strict=True)] or none
    )
    times = np.concatenate(
        [each[some] for each, some in zip(visits, kept, strict=True)] or none
    )
    stands = np.concatenate(
        [each.is_installed[some] for each, some in zip(cohorts, kept, strict=True)] or none
    )
    order = np.lexsort((sign, level))
    level, sign, times, stands = level[order], sign[order], times[order], stands[order]
    if not len(level):
        return _Pairs(level, sign, times, stands.astype(np.int64))
    starts = np.flatnonzero(np.append(True, (np.diff(level) != 0) | (np.diff(sign) != 0)))
    return _Pairs(
        level[starts],
        sign[starts],
        np.maximum.reduceat(times, starts),
        np.maximum.reduceat(stands.astype(np.int64), starts),
    )
