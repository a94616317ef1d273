"""Which lots lose R_A faster than ordinary lots do, and how sure that is."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtri, stdtr, stdtrit
from scipy.stats import false_discovery_control

from inventory.engineering.forecast.lot_signs import LotSigns
from inventory.engineering.forecast.lot_sums import (
    Factor,
    Line,
    LotCohort,
    LotSlopes,
    LotSums,
    lines_without,
    slopes_of_lots,
    sum_lots,
)
from inventory.engineering.forecast.observations import TruthArray
from inventory.engineering.forecast.ordinary import (
    CLIP,
    STEPS,
    OrdinaryVariation,
    ordinary_variation,
)
from inventory.engineering.inspection.student import FloatArray, WholeArray

METHOD_VERSION = "lots-1"
FALSE_SHARE = 0.10
LEAST_SIGNS = 5
LEAST_SIGNS_READ_TWICE = 3
LARGEST_STANDARD_ERROR_PER_YEAR = 0.03
LEAST_LOTS = 6  # of a factor with enough readings; fewer do not tell what is ordinary
TAILS = 60.0  # degrees of freedom: ordinary lots need not be normal
Z_95 = float(ndtri(0.975))
_ROUNDS = 5
_FIRST_SD = 0.003


@dataclass(frozen=True, slots=True, eq=False)
class FactorTest:
    """
    The lots of one factor that have enough readings, each against the others.

    Arrays per lot. ``effect_per_year`` is the yearly change less that of the cohorts, as a
    share of R_A, ``standard_error`` its standard deviation; ``ordinary_sd`` how much other lots
    differ from each other (``at_most`` with 95 %); ``p_value`` the chance that an ordinary lot
    loses as fast or faster.
    ``level_deviation`` is how much brighter the lot was when new than its cohorts (nan where
    the ages do not say); it plays no part in the test.
    """

    factor: Factor
    level: WholeArray
    effect_per_year: FloatArray
    standard_error: FloatArray
    cohort_change_per_year: FloatArray
    level_deviation: FloatArray
    level_standard_error: FloatArray
    ordinary_sd: FloatArray
    ordinary_sd_at_most: FloatArray
    ordinary_chance: FloatArray  # (lots, STEPS): how probable each λ is by the other lots
    p_value: FloatArray
    too_few_readings: int  # lots that were read, but not enough
    sums: tuple[LotSums, ...]  # per cohort
    lines: tuple[Line, ...]

    def interval(self) -> tuple[FloatArray, FloatArray]:
        """Return the 95 % interval of each effect, of its readings alone."""
        margin = Z_95 * self.standard_error
        return self.effect_per_year - margin, self.effect_per_year + margin

    def p_of(self, place: int, effect: FloatArray, variance: FloatArray) -> FloatArray:
        """Return the p-values of other effects in the stead of one lot's."""
        chance = self.ordinary_chance[place : place + 1]
        return _p_values(effect, variance, np.repeat(chance, len(effect), axis=0))

    def smallest_excess(self, place: int, p_value: float, found: float = 0.9) -> float:
        """
        Return which excess a lot read like this one would be listed with, mostly.

        Parameters
        ----------
        place : int
            Which lot of the test.
        p_value : float
            At which lots are listed.
        found : float
            In which share of such lots.
        """
        variance = self.standard_error[place : place + 1] ** 2
        total = float(np.hypot(self.standard_error[place], self.ordinary_sd[place]))

        def over(log_effect: float) -> float:
            effect = -np.exp(np.array([log_effect]))
            return float(np.log(self.p_of(place, effect, variance)[0] / p_value))

        least = float(np.exp(brentq(over, np.log(total) - 5, np.log(total) + 7, xtol=1e-4)))
        return least + float(stdtrit(TAILS, found)) * total


def _p_values(effect: FloatArray, variance: FloatArray, chance: FloatArray) -> FloatArray:
    """Return the chance of an ordinary lot falling as fast, averaged over what λ may be."""
    total = np.sqrt(variance[:, None] + STEPS**2)
    return np.asarray((chance * stdtr(TAILS, effect[:, None] / total)).sum(axis=1))


@dataclass(frozen=True, slots=True, eq=False)
class Entries:
    """Lots in cohorts: which cohort, which place there, which lot; and pairs of one lot."""

    cohort: WholeArray
    place: WholeArray
    level: WholeArray  # which lot: 0 to their number − 1
    first: WholeArray
    second: WholeArray
    shared: FloatArray


def compare_lots(
    cohorts: Sequence[LotCohort],
    factor: Factor,
    signs: LotSigns,
    *,
    progress: Callable[[str], None] | None = None,
) -> FactorTest | None:
    """
    Return the test of every lot of a factor; ``None`` where too few lots were read.

    A lot's effect is its yearly change less that of the other lots of its cohorts, found at the
    fitted spread of signs and readings, its own level left free. The effects in several colours
    are put together by inverse variance; colours of the same signs count as wholly dependent,
    which is cautious. Ordinary lots differ by λ, estimated over the lots of all cohorts with
    bounded influence and without the lot in question; the effect over the square root of its
    variance + λ² is set against Student's t with 60 degrees of freedom (ordinary lots need not
    be normal), averaged over what λ may be by the other lots.

    Parameters
    ----------
    cohorts : sequence of LotCohort
        All cohorts of the fleet.
    factor : Factor
        Sheeting lot, ink lot, overlay lot or print run.
    signs : LotSigns
        Which signs are of which lot.
    progress : callable, optional
        Told in words what is being done.

    Examples
    --------
    See ``docs/methods/suspect_lots.md`` for a lot worked by hand.
    """
    if progress is not None:
        progress(f"comparing {factor.words}s")
    sums = tuple(sum_lots(cohort, factor) for cohort in cohorts)
    entries, numbers = _entries(cohorts, factor, sums)
    if not len(numbers):
        return None
    sd = _FIRST_SD
    weights = [np.ones(len(each.number)) for each in sums]
    for _round in range(_ROUNDS):
        lines = tuple(
            lines_without(each, sd, weight) for each, weight in zip(sums, weights, strict=True)
        )
        slopes = _in_order(sums, lines, entries)
        found = combined(slopes, entries, len(numbers))
        has_enough = _has_enough(found, numbers, signs, factor)
        if has_enough.sum() < LEAST_LOTS:
            return None
        ordinary = ordinary_variation(
            found.deviation[has_enough], found.variance[has_enough], sd
        )
        sd = ordinary.sd
        z = np.abs(found.deviation) / np.sqrt(found.variance + max(sd, 1e-6) ** 2)
        of_lot = np.minimum(1.0, CLIP / np.maximum(z, CLIP))
        for k, weight in enumerate(weights):
            mine = entries.cohort == k
            weight[entries.place[mine]] = of_lot[entries.level[mine]]
    return _tested(factor, numbers, entries, found, has_enough, ordinary, sums, lines)


def _tested(
    factor: Factor,
    numbers: WholeArray,
    entries: Entries,
    found: LotSlopes,
    has_enough: TruthArray,
    ordinary: OrdinaryVariation,
    sums: tuple[LotSums, ...],
    lines: tuple[Line, ...],
) -> FactorTest:
    variance = found.variance[has_enough]
    effect = found.deviation[has_enough]
    level, level_error = _levels(sums, entries, len(numbers))
    return FactorTest(
        factor=factor,
        level=numbers[has_enough],
        effect_per_year=effect,
        standard_error=np.sqrt(variance),
        cohort_change_per_year=found.cohort_slope[has_enough],
        level_deviation=level[has_enough],
        level_standard_error=level_error[has_enough],
        ordinary_sd=ordinary.sd_without,
        ordinary_sd_at_most=ordinary.sd_at_most,
        ordinary_chance=ordinary.chance,
        p_value=_p_values(effect, variance, ordinary.chance),
        too_few_readings=int((~has_enough).sum()),
        sums=sums,
        lines=lines,
    )


def _levels(
    sums: tuple[LotSums, ...], entries: Entries, size: int
) -> tuple[FloatArray, FloatArray]:
    """Return the lots' levels when new over their cohorts, colours taken as dependent."""
    deviation = np.zeros(len(entries.level))
    error = np.full(len(entries.level), np.inf)
    for k, each in enumerate(sums):
        mine = entries.cohort == k
        deviation[mine] = each.level_deviation[entries.place[mine]]
        error[mine] = np.sqrt(each.level_variance[entries.place[mine]])
    weight = np.where(np.isfinite(error), error, 1.0) ** -2.0 * np.isfinite(error)
    total = np.bincount(entries.level, weight, size)
    share = weight / np.where(total > 0, total, 1.0)[entries.level]
    level = np.bincount(entries.level, share * np.nan_to_num(deviation), size)
    spread = np.bincount(entries.level, share * np.where(share > 0, error, 0.0), size)
    return np.where(total > 0, level, np.nan), np.where(total > 0, spread, np.inf)


def _entries(
    cohorts: Sequence[LotCohort], factor: Factor, sums: tuple[LotSums, ...]
) -> tuple[Entries, WholeArray]:
    """Return the lots of each cohort whose slope is known at all, and the lots' numbers."""
    cohort = np.concatenate(
        [np.full(len(each.number), k) for k, each in enumerate(sums)] or [np.zeros(0, int)]
    ).astype(np.int64)
    place = np.concatenate([np.arange(len(each.number)) for each in sums] or [cohort])
    number = np.concatenate([each.number for each in sums] or [cohort])
    kept = np.concatenate([each.information > 0 for each in sums] or [cohort > 0])
    cohort, place, number = cohort[kept], place[kept], number[kept]
    numbers, level = np.unique(number, return_inverse=True)
    order = np.argsort(level, kind="stable")
    starts = np.searchsorted(level[order], np.arange(len(numbers) + 1))
    pairs: list[tuple[int, int, float]] = []
    several = np.flatnonzero(np.diff(starts) > 1)
    read = [_read_by_lot(each, factor) for each in cohorts] if len(several) else []
    for k in several:
        some = order[starts[k] : starts[k + 1]]
        ids = [_of_lot(read[cohort[each]], int(numbers[k])) for each in some]
        for a in range(len(some)):
            for b in range(a + 1, len(some)):
                shared = len(np.intersect1d(ids[a], ids[b], assume_unique=True))
                if shared:
                    share = shared / np.sqrt(len(ids[a]) * len(ids[b]))
                    pairs.append((int(some[a]), int(some[b]), float(share)))
    return (
        Entries(
            cohort,
            place,
            level,
            np.array([each[0] for each in pairs], dtype=np.int64),
            np.array([each[1] for each in pairs], dtype=np.int64),
            np.array([each[2] for each in pairs], dtype=np.float64),
        ),
        numbers,
    )


def _read_by_lot(cohort: LotCohort, factor: Factor) -> tuple[WholeArray, WholeArray]:
    """Return the lots of the signs that were read, ascending, and the signs."""
    is_read = np.flatnonzero(cohort.visits_per_sign() > 0)
    lots = cohort.levels[factor][is_read]
    order = np.argsort(lots, kind="stable")
    return lots[order], cohort.sign_id[is_read[order]]


def _of_lot(read: tuple[WholeArray, WholeArray], number: int) -> WholeArray:
    first, last = np.searchsorted(read[0], [number, number + 1])
    return read[1][first:last]


def _in_order(
    sums: tuple[LotSums, ...], lines: tuple[Line, ...], entries: Entries
) -> LotSlopes:
    """Return the slopes of all entries, cohort by cohort, as the entries come."""
    each = [slopes_of_lots(one.sums, line) for one, line in zip(sums, lines, strict=True)]
    parts = [(found, entries.place[entries.cohort == k]) for k, found in enumerate(each)]
    return LotSlopes(
        *(
            np.concatenate([getattr(found, name)[places] for found, places in parts])
            for name in ("deviation", "own_variance", "line_variance", "cohort_slope")
        )
    )


def combined(slopes: LotSlopes, entries: Entries, size: int) -> LotSlopes:
    """
    Return one slope per lot from those of its cohorts, by inverse variance.

    Two cohorts' slopes count as correlated by the share of signs that both read, as if what
    makes a sign's colours differ from their lines were all common to them.
    """
    weight = 1.0 / slopes.variance
    weight = weight / np.bincount(entries.level, weight, size)[entries.level]
    of_pair = 2 * weight[entries.first] * weight[entries.second] * entries.shared
    level_of_pair = entries.level[entries.first]

    def spread(variance: FloatArray) -> FloatArray:
        both = np.sqrt(variance[entries.first] * variance[entries.second])
        return np.asarray(
            np.bincount(entries.level, weight**2 * variance, size)
            + np.bincount(level_of_pair, of_pair * both, size)
        )

    def mean(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(entries.level, weight * values, size), dtype=np.float64)

    return LotSlopes(
        deviation=mean(slopes.deviation),
        own_variance=spread(slopes.own_variance),
        line_variance=spread(slopes.line_variance),
        cohort_slope=mean(slopes.cohort_slope),
    )


def _has_enough(
    found: LotSlopes, numbers: WholeArray, signs: LotSigns, factor: Factor
) -> TruthArray:
    """Return which lots have enough readings to be compared."""
    read, twice = signs.counts(factor, numbers)
    return np.asarray(
        (read >= LEAST_SIGNS)
        & (twice >= LEAST_SIGNS_READ_TWICE)
        & (found.variance <= LARGEST_STANDARD_ERROR_PER_YEAR**2)
    )


def false_discovery(p_values: FloatArray) -> FloatArray:
    """
    Return the q-value of each p-value: the least false share at which it would be listed.

    Parameters
    ----------
    p_values : array of float
        Of all lots tested, 0 to 1.

    References
    ----------
    .. [1] Y. Benjamini and Y. Hochberg (1995), Journal of the Royal Statistical Society B 57,
       289-300 (from memory).

    Examples
    --------
    >>> false_discovery(np.array([0.01, 0.04, 0.03, 0.5])).round(3).tolist()
    [0.04, 0.053, 0.053, 0.5]
    """
    if not len(p_values):
        return p_values
    return np.asarray(false_discovery_control(p_values, method="bh"))
