"""
The decision rule: from a result with its uncertainty and a level to a verdict.

A level is exact; the guard against the uncertainty is put on the reading side, once. Values are
compared with the level on whole thousandths; floating point serves the statistics alone. One
function judges a sign or a million.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inventory.engineering.assessment.compare import meets_level
from inventory.engineering.assessment.conformity import probability_at_least
from inventory.engineering.assessment.vocabulary import WORST_FIRST, Verdict
from inventory.engineering.inspection.readings import THOUSANDTHS
from inventory.engineering.inspection.student import FloatArray, WholeArray, student_quantile
from inventory.engineering.inspection.uncertainty import (
    COVERAGE_PROBABILITY,
    ColorResult,
    ResultColumns,
    columns_of,
    welch_satterthwaite,
)
from inventory.errors import OutOfRangeError

MAXIMUM_FURTHER_READINGS = 30
NEVER_SETTLED = -1  # in a column of further readings: no number of them would settle it
MAXIMUM_REQUIRED_PROBABILITY = 0.9999

_UNDECIDED = WORST_FIRST.index(Verdict.UNDECIDED)
_MEETS = WORST_FIRST.index(Verdict.MEETS)
_BELOW = WORST_FIRST.index(Verdict.BELOW)
_KNOWN = np.array([math.inf])  # degrees of freedom of what is stated, not estimated

TruthArray = npt.NDArray[np.bool_]
CodeArray = npt.NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class DecisionRule:
    """
    How an agency decides: simple acceptance, or with a guard.

    Parameters
    ----------
    required_probability : float, optional
        How probable it must be that the true value is at or above the level (to meet it) or
        under it (to be below): over 0.5, at most 0.9999. Left out: simple acceptance, where
        the value alone decides and nothing is undecided.

    Raises
    ------
    OutOfRangeError
        If the probability is outside these bounds.

    References
    ----------
    .. [1] JCGM 106:2012, 8.2 (simple acceptance) and 8.3 (guard bands).

    Examples
    --------
    >>> DecisionRule(0.95).words
    'guarded at 95 %'
    >>> DecisionRule(95)
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: The required probability is 95; it is over 0.5 and at
    most 0.9999, so that 95 % is written 0.95. For simple acceptance leave it out.
    """

    required_probability: float | None = None

    def __post_init__(self) -> None:
        required = self.required_probability
        if required is not None and not 0.5 < required <= MAXIMUM_REQUIRED_PROBABILITY:
            msg = (
                f"The required probability is {required:g}; it is over 0.5 and at most "
                f"{MAXIMUM_REQUIRED_PROBABILITY}, so that 95 % is written 0.95. For simple "
                "acceptance leave it out."
            )
            raise OutOfRangeError(msg)

    @property
    def words(self) -> str:
        """Return the rule as a page names it."""
        if self.required_probability is None:
            return "simple acceptance"
        return f"guarded at {self.required_probability * 100:.6g} %"

    def guard_factor(self, dof: FloatArray) -> FloatArray:
        """
        Return k, the guard in standard uncertainties; 0 under simple acceptance.

        Parameters
        ----------
        dof : array of float
            Effective degrees of freedom, 1 or more; infinite for the normal quantile.

        Examples
        --------
        >>> DecisionRule(0.95).guard_factor(np.array([np.inf, 3.0])).round(4).tolist()
        [1.6449, 2.3534]
        """
        if self.required_probability is None:
            return np.zeros(dof.shape)
        return student_quantile(self.required_probability, dof)


SIMPLE_ACCEPTANCE = DecisionRule()


@dataclass(frozen=True, slots=True)
class Decision:
    """
    The verdict on one colour or contrast under one row, with how sure it is.

    For a contrast the figures in cd/lx/m² are those of white minus ratio times red.
    ``further_readings`` is how many more readings of each colour would likely settle an
    undecided verdict: 0 when decided, 31 when more than 30, -1 when none would.
    """

    verdict: Verdict
    probability: float
    standard_uncertainty_cd_lx_m2: float
    effective_dof: float
    expanded_uncertainty_cd_lx_m2: float
    guard_cd_lx_m2: float
    further_readings: int

    @property
    def further_words(self) -> str:
        """Return how many further readings would likely settle it; empty when decided."""
        return further_words(self.further_readings)


def further_words(number: int) -> str:
    """
    Return how many further readings would likely settle a verdict; empty when it is decided.

    Examples
    --------
    >>> further_words(3), further_words(31)
    ('3', 'more than 30')
    >>> further_words(NEVER_SETTLED)
    "none: the instrument's own uncertainty is too large"
    """
    if number == 0:
        return ""
    if number == NEVER_SETTLED:
        return "none: the instrument's own uncertainty is too large"
    if number > MAXIMUM_FURTHER_READINGS:
        return f"more than {MAXIMUM_FURTHER_READINGS}"
    return str(number)


@dataclass(frozen=True, slots=True, eq=False)
class DecisionColumns:
    """
    Many decisions, one array per field of :class:`Decision`.

    ``verdict_code`` is the place of the verdict in
    :data:`~inventory.engineering.assessment.vocabulary.WORST_FIRST`: the least code of a sign's
    elements is the sign's.
    """

    verdict_code: CodeArray
    probability: FloatArray
    standard_uncertainty_cd_lx_m2: FloatArray
    effective_dof: FloatArray
    expanded_uncertainty_cd_lx_m2: FloatArray
    guard_cd_lx_m2: FloatArray
    further_readings: npt.NDArray[np.int16]

    def __len__(self) -> int:
        return len(self.verdict_code)

    def row(self, index: int) -> Decision:
        """Return one of the decisions."""
        return Decision(
            verdict=WORST_FIRST[int(self.verdict_code[index])],
            probability=float(self.probability[index]),
            standard_uncertainty_cd_lx_m2=float(self.standard_uncertainty_cd_lx_m2[index]),
            effective_dof=float(self.effective_dof[index]),
            expanded_uncertainty_cd_lx_m2=float(self.expanded_uncertainty_cd_lx_m2[index]),
            guard_cd_lx_m2=float(self.guard_cd_lx_m2[index]),
            further_readings=int(self.further_readings[index]),
        )


def decide_levels(
    results: ResultColumns, level_thousandths: WholeArray, rule: DecisionRule
) -> DecisionColumns:
    """
    Return the verdicts on many colours, each against its level.

    With T the level, y the mean and u its standard uncertainty, simple acceptance says
    ``meets`` where y ≥ T, else ``below``. A guard g = k·u, with k the quantile of Student's
    distribution at the required probability for the effective degrees of freedom of u, says
    ``meets`` where y ≥ T + g, ``below`` where y < T − g, else ``undecided``.

    Parameters
    ----------
    results : ResultColumns
        From :func:`~inventory.engineering.inspection.uncertainty.reduce_columns`.
    level_thousandths : array of int
        Minimum maintained level of each colour, 0 or more. [0.001 cd/lx/m²]
    rule : DecisionRule
        The agency's.

    Raises
    ------
    OutOfRangeError
        If there is not one level of 0 or more for every result.

    References
    ----------
    .. [1] JCGM 106:2012, 7.3, 8.2 and 8.3.
    .. [2] MUTCD 11th edition (2023) section 2A.22: "at or above the minimum levels".

    Examples
    --------
    >>> fixed = ResultColumns(
    ...     np.array([58_224, 58_225, 41_000]), np.array([1, 1, 1]), np.array([0.0, 0.0, 0.0]),
    ...     np.array([np.inf, np.inf, np.inf]), np.array([5.0, 5.0, 5.0]),
    ... )
    >>> decided = decide_levels(fixed, np.array([50_000] * 3), DecisionRule(0.95))
    >>> [decided.row(place).verdict.value for place in range(3)]
    ['undecided', 'meets', 'below']
    """
    check_levels(level_thousandths, len(results))
    count = results.count
    difference = (results.total_thousandths - level_thousandths * count) / (
        count * float(THOUSANDTHS)
    )
    is_met = meets_level(results.total_thousandths, count, level_thousandths)
    decided = decide(
        difference, is_met, results.standard_uncertainty_cd_lx_m2, results.effective_dof, rule
    )
    scatter_squared = results.scatter_cd_lx_m2 * results.scatter_cd_lx_m2
    common_variance = results.common_variance

    def would_settle(places: WholeArray, more: int) -> TruthArray:
        larger = (count[places] + more).astype(np.float64)
        scatter_variance = scatter_squared[places] / larger
        common = common_variance[places]
        dof = welch_satterthwaite((scatter_variance, common), (larger - 1.0, math.inf))
        guard = rule.guard_factor(dof) * np.sqrt(scatter_variance + common)
        return is_outside(difference[places], guard)

    def could_settle(places: WholeArray) -> TruthArray:
        guard = rule.guard_factor(_KNOWN) * results.common_cd_lx_m2[places]
        return is_outside(difference[places], guard)

    count_further_readings(decided, could_settle, would_settle)
    return decided


def decide_level(result: ColorResult, level_thousandths: int, rule: DecisionRule) -> Decision:
    """
    Return the verdict on one colour: that of :func:`decide_levels`.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from inventory.engineering.inspection.instrument_uncertainty import (
    ...     InstrumentUncertainty)
    >>> from inventory.engineering.inspection.uncertainty import reduce_color
    >>> known = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")
    >>> result = reduce_color([Decimal(value) for value in ("38", "40", "41", "41")], known)
    >>> decision = decide_level(result, 35_000, DecisionRule(0.95))
    >>> decision.verdict.value, round(decision.probability, 4)
    ('meets', 0.9904)
    >>> round(decision.guard_cd_lx_m2, 2)
    3.5
    """
    return decide_levels(columns_of([result]), np.array([level_thousandths]), rule).row(0)


def decide(
    difference_cd_lx_m2: FloatArray,
    is_met: TruthArray,
    standard_uncertainty_cd_lx_m2: FloatArray,
    effective_dof: FloatArray,
    rule: DecisionRule,
    is_open: TruthArray | bool = False,
) -> DecisionColumns:
    """
    Return the verdicts on differences that must be 0 or more; no further readings counted yet.

    Parameters
    ----------
    difference_cd_lx_m2 : array of float
        What is compared with 0: value less level, or white less ratio times red.
    is_met : array of bool
        Whether each is 0 or more, decided exactly.
    standard_uncertainty_cd_lx_m2, effective_dof : array of float
        Of the differences.
    rule : DecisionRule
        The agency's.
    is_open : array of bool or bool
        Where a guarded rule may not decide, whatever the difference.

    Examples
    --------
    >>> one = lambda number: np.array([number])
    >>> decided = decide(one(10.0), one(True), one(4.8), one(np.inf), DecisionRule(0.99))
    >>> decided.row(0).verdict.value
    'undecided'
    """
    u = standard_uncertainty_cd_lx_m2
    guard = rule.guard_factor(effective_dof) * u
    verdict_code = np.where(is_met, np.int8(_MEETS), np.int8(_BELOW))
    if rule != SIMPLE_ACCEPTANCE:
        verdict_code[is_open | ~is_outside(difference_cd_lx_m2, guard)] = _UNDECIDED
    coverage_factor = student_quantile(0.5 + COVERAGE_PROBABILITY / 2, effective_dof)
    return DecisionColumns(
        verdict_code=verdict_code,
        probability=probability_at_least(difference_cd_lx_m2, 0.0, u, effective_dof),
        standard_uncertainty_cd_lx_m2=u,
        effective_dof=effective_dof,
        expanded_uncertainty_cd_lx_m2=coverage_factor * u,
        guard_cd_lx_m2=guard,
        further_readings=np.zeros(len(verdict_code), dtype=np.int16),
    )


def is_outside(difference_cd_lx_m2: FloatArray, guard_cd_lx_m2: FloatArray) -> TruthArray:
    """
    Return whether differences are clear of the guard on either side.

    Examples
    --------
    >>> is_outside(np.array([2.0, -2.0, -2.1]), np.array([2.0, 2.0, 2.0])).tolist()
    [True, False, True]
    """
    return (difference_cd_lx_m2 >= guard_cd_lx_m2) | (difference_cd_lx_m2 < -guard_cd_lx_m2)


def count_further_readings(
    decided: DecisionColumns,
    could_settle: Callable[[WholeArray], TruthArray],
    would_settle: Callable[[WholeArray, int], TruthArray],
) -> None:
    """
    Fill in how many further readings would likely settle each undecided verdict.

    The least number is sought from 1 to 30, supposing that further readings have the same mean
    and scatter.

    Parameters
    ----------
    decided : DecisionColumns
        Its ``further_readings`` are written where the verdict is undecided.
    could_settle : callable
        Given places, whether each would be settled by any number of readings.
    would_settle : callable
        Given places and a number, whether each would be settled by so many further readings.
    """
    places = np.flatnonzero(decided.verdict_code == _UNDECIDED)
    can_be = could_settle(places)
    decided.further_readings[places[~can_be]] = NEVER_SETTLED
    waiting = places[can_be]
    for more in range(1, MAXIMUM_FURTHER_READINGS + 1):
        if not len(waiting):
            return
        is_settled = would_settle(waiting, more)
        decided.further_readings[waiting[is_settled]] = more
        waiting = waiting[~is_settled]
    decided.further_readings[waiting] = MAXIMUM_FURTHER_READINGS + 1


def check_levels(level_thousandths: WholeArray, number: int) -> None:
    """
    Refuse levels that do not go with the results.

    Raises
    ------
    OutOfRangeError
        If there is not one level of 0 or more for every result.
    """
    if len(level_thousandths) != number:
        msg = f"There are {len(level_thousandths)} levels for {number} results; give one each."
        raise OutOfRangeError(msg)
    if (level_thousandths < 0).any():
        index = int(np.argmax(level_thousandths < 0))
        msg = (
            f"The level of result {index} is {level_thousandths[index] / THOUSANDTHS:g}; a "
            "level is 0 or more."
        )
        raise OutOfRangeError(msg)
