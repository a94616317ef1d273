"""
The decision on a contrast ratio: white over red, with the error both readings share.

A ratio of two uncertain means is not normal; the difference white − ratio × red is, and it is
judged in its place. The instrument's common error, shared by both colours of one session, is a
covariance and largely cancels. Fieller's interval is the same comparison solved for the ratio.
"""

import math
from dataclasses import dataclass

import numpy as np

from inventory.engineering.assessment.compare import meets_contrast
from inventory.engineering.assessment.decision import (
    Decision,
    DecisionColumns,
    DecisionRule,
    TruthArray,
    check_levels,
    count_further_readings,
    decide,
    is_outside,
)
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

_KNOWN = np.array([math.inf])  # degrees of freedom of what is stated, not estimated


@dataclass(frozen=True, slots=True)
class ContrastDecision:
    """
    The verdict on a contrast, with the 95 % interval of the ratio.

    ``decision`` is on white less ratio times red. ``ratio_upper`` is infinite where the red is
    not clear of 0: the ratio is then at least ``ratio_lower``, and has no upper bound.
    """

    decision: Decision
    ratio_lower: float
    ratio_upper: float

    @property
    def is_bounded(self) -> bool:
        """Return whether the interval has an upper bound."""
        return self.ratio_upper < math.inf


@dataclass(frozen=True, slots=True, eq=False)
class ContrastColumns:
    """Many contrast decisions, with the 95 % intervals of the ratios."""

    decisions: DecisionColumns
    ratio_lower: FloatArray
    ratio_upper: FloatArray

    def row(self, index: int) -> ContrastDecision:
        """Return one of the decisions."""
        return ContrastDecision(
            self.decisions.row(index),
            float(self.ratio_lower[index]),
            float(self.ratio_upper[index]),
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Pairs:
    """Whites and reds as the statistics need them; any number of readings may be put in."""

    white: ResultColumns
    red: ResultColumns
    ratio: FloatArray
    is_shared: TruthArray

    def scatter_parts(
        self, places: WholeArray | slice, more: int
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return the scatter variances of white and red means, and their degrees of freedom."""
        parts: list[FloatArray] = []
        dofs: list[FloatArray] = []
        for color in (self.white, self.red):
            count = (color.count[places] + more).astype(np.float64)
            scatter = color.scatter_cd_lx_m2[places]
            parts.append(scatter * scatter / count)
            dofs.append(color.scatter_dof[places] if more == 0 else count - 1.0)
        return parts[0], parts[1], dofs[0], dofs[1]

    def common_variance(self, places: WholeArray | slice) -> FloatArray:
        """Return the variance that the common errors give white − ratio × red."""
        white = self.white.common_cd_lx_m2[places]
        red = self.ratio[places] * self.red.common_cd_lx_m2[places]
        apart = white - red
        return np.where(self.is_shared[places], apart * apart, white * white + red * red)

    def uncertainty(
        self, places: WholeArray | slice, more: int
    ) -> tuple[FloatArray, FloatArray]:
        """Return standard uncertainty and degrees of freedom of white − ratio × red."""
        white, red, white_dof, red_dof = self.scatter_parts(places, more)
        parts = (white, self.ratio[places] ** 2 * red, self.common_variance(places))
        dof = welch_satterthwaite(parts, (white_dof, red_dof, math.inf))
        return np.sqrt(parts[0] + parts[1] + parts[2]), dof

    def is_red_clear(
        self, places: WholeArray | slice, more: int, factor: FloatArray
    ) -> TruthArray:
        """Return whether the red is clear of 0, without which a ratio has no upper bound."""
        _, scatter, _, _ = self.scatter_parts(places, more)
        common = self.red.common_cd_lx_m2[places]
        return self.red.mean_cd_lx_m2[places] ** 2 > factor**2 * (scatter + common * common)


def decide_contrasts(
    white: ResultColumns,
    red: ResultColumns,
    ratio_thousandths: WholeArray,
    is_shared: TruthArray,
    rule: DecisionRule,
) -> ContrastColumns:
    """
    Return the verdicts on many contrasts white over red.

    Judged is d = W − r·R with the least ratio r, whose variance is u_W² + r²u_R² − 2r·cov; cov
    is the product of the two common parts where instrument and session are the same, else 0.
    Simple acceptance says ``meets`` where W ≥ r·R on whole thousandths. A guard decides as in
    :func:`~inventory.engineering.assessment.decision.decide_levels`, and leaves the contrast
    undecided where the red is not clear of 0, for then the ratio has no upper bound.

    Parameters
    ----------
    white, red : ResultColumns
        The two colours of each face, one beside the other.
    ratio_thousandths : array of int
        Least contrast ratio of each, in thousandths; 3000 is 3:1.
    is_shared : array of bool
        Whether both colours were read with the same instrument in the same session.
    rule : DecisionRule
        The agency's.

    Raises
    ------
    OutOfRangeError
        If lengths differ, a ratio is negative, or both colours of a face read 0.

    References
    ----------
    .. [1] E. C. Fieller, Some problems in interval estimation, Journal of the Royal
       Statistical Society B 16 (1954) 175-185.
    .. [2] JCGM 100:2008, 5.2.2 (correlated input quantities) and G.4.1.
    .. [3] MUTCD 11th edition (2023) Table 2A-5, white on red: minimum sign contrast ratio 3:1.

    Examples
    --------
    >>> column = lambda number: np.array([number])
    >>> result = lambda total, common: ResultColumns(
    ...     column(total), column(4), column(2.0), column(3.0), column(common))
    >>> decided = decide_contrasts(
    ...     result(240_000, 4.8), result(60_000, 1.2), column(3000), column(True),
    ...     DecisionRule(0.95)).row(0)
    >>> decided.decision.verdict.value, round(decided.decision.probability, 4)
    ('meets', 0.9943)
    >>> round(decided.ratio_lower, 2), round(decided.ratio_upper, 2)
    (3.34, 4.96)
    """
    check_levels(ratio_thousandths, len(white))
    if not len(white) == len(red) == len(is_shared):
        msg = f"There are {len(white)} whites and {len(red)} reds; give both of each face."
        raise OutOfRangeError(msg)
    is_nothing = (white.total_thousandths == 0) & (red.total_thousandths == 0)
    if is_nothing.any():
        msg = (
            f"White and red of face {int(np.argmax(is_nothing))} both read 0; nought over "
            "nought is no ratio. Leave the face out and read it again."
        )
        raise OutOfRangeError(msg)
    pairs = _Pairs(white, red, ratio_thousandths / float(THOUSANDTHS), is_shared)
    sums = (white.total_thousandths, white.count, red.total_thousandths, red.count)
    is_met = meets_contrast(*sums, ratio_thousandths)
    difference = _difference(*sums, ratio_thousandths)
    everywhere = slice(None)
    u, dof = pairs.uncertainty(everywhere, 0)
    decided = decide(
        difference,
        is_met,
        u,
        dof,
        rule,
        is_open=~pairs.is_red_clear(everywhere, 0, rule.guard_factor(dof)),
    )

    def would_settle(places: WholeArray, more: int) -> TruthArray:
        u, dof = pairs.uncertainty(places, more)
        factor = rule.guard_factor(dof)
        is_clear = pairs.is_red_clear(places, more, factor)
        return is_clear & is_outside(difference[places], factor * u)

    def could_settle(places: WholeArray) -> TruthArray:
        factor = rule.guard_factor(_KNOWN)
        guard = factor * np.sqrt(pairs.common_variance(places))
        is_clear = red.mean_cd_lx_m2[places] > factor * red.common_cd_lx_m2[places]
        return is_clear & is_outside(difference[places], guard)

    count_further_readings(decided, could_settle, would_settle)
    factor = student_quantile(0.5 + COVERAGE_PROBABILITY / 2, dof)
    lower, upper = fieller_interval(
        white.mean_cd_lx_m2,
        red.mean_cd_lx_m2,
        white.standard_uncertainty_cd_lx_m2**2,
        red.standard_uncertainty_cd_lx_m2**2,
        np.where(is_shared, white.common_cd_lx_m2 * red.common_cd_lx_m2, 0.0),
        factor,
    )
    return ContrastColumns(decided, lower, upper)


def decide_contrast(
    white: ColorResult,
    red: ColorResult,
    ratio_thousandths: int,
    rule: DecisionRule,
    *,
    is_shared: bool,
) -> ContrastDecision:
    """
    Return the verdict on one contrast: that of :func:`decide_contrasts`.

    Examples
    --------
    >>> from decimal import Decimal
    >>> from inventory.engineering.assessment.decision import SIMPLE_ACCEPTANCE
    >>> from inventory.engineering.inspection.instrument_uncertainty import (
    ...     InstrumentUncertainty)
    >>> from inventory.engineering.inspection.uncertainty import reduce_color
    >>> known = InstrumentUncertainty(0.03, 0.05, 0.1, "an invented certificate")
    >>> white, red = (reduce_color([Decimal(value)], known) for value in ("30.0", "10.0"))
    >>> decided = decide_contrast(white, red, 3000, SIMPLE_ACCEPTANCE, is_shared=True)
    >>> decided.decision.verdict.value, decided.decision.probability
    ('meets', 0.5)
    """
    return decide_contrasts(
        columns_of([white]),
        columns_of([red]),
        np.array([ratio_thousandths]),
        np.array([is_shared]),
        rule,
    ).row(0)


def fieller_interval(
    numerator: FloatArray,
    denominator: FloatArray,
    numerator_variance: FloatArray,
    denominator_variance: FloatArray,
    covariance: FloatArray,
    factor: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """
    Return the ratios of 0 or more that two uncertain quantities leave possible.

    A ratio k is possible where |numerator − k·denominator| is at most ``factor`` standard
    uncertainties of that difference. Where the denominator is clear of 0 that is an interval.
    Otherwise there is no upper bound; the lower is over 0 only where the numerator is clear
    of 0.

    Parameters
    ----------
    numerator, denominator : array of float
        0 or more, not both 0.
    numerator_variance, denominator_variance, covariance : array of float
        Of the two, in the square of their unit.
    factor : array of float
        Coverage factor, the two-sided quantile of Student's distribution.

    Returns
    -------
    tuple of two arrays of float
        Lower and upper bound; the upper is infinite where there is none.

    References
    ----------
    .. [1] E. C. Fieller, Some problems in interval estimation, Journal of the Royal
       Statistical Society B 16 (1954) 175-185.

    Examples
    --------
    >>> one = lambda number: np.array([number])
    >>> low, high = fieller_interval(
    ...     one(14.0), one(7.0), one(9.0), one(4.0), one(0.0), one(1.812461)
    ... )
    >>> low.round(4).tolist(), high.round(4).tolist()
    ([1.0514], [4.4143])
    """
    squared = factor * factor
    # The possible ratios k solve a·k² − 2·b·k + c ≤ 0.
    a = denominator * denominator - squared * denominator_variance
    b = numerator * denominator - squared * covariance
    c = numerator * numerator - squared * numerator_variance
    # b² − a·c, rearranged so that large equal terms do not cancel.
    determinant = numerator_variance * denominator_variance - covariance * covariance
    discriminant = squared * (
        denominator * denominator * numerator_variance
        + numerator * numerator * denominator_variance
        - 2 * numerator * denominator * covariance
        - squared * determinant
    )
    root = np.sqrt(np.maximum(discriminant, 0.0))
    is_bounded = a > 0
    is_numerator_clear = c > 0
    # With the numerator clear of 0 the lower bound is c / (b + root), bounded or not. Where
    # that is not defined (a denominator of 0, said to be certain) nothing is claimed.
    lower = np.zeros_like(a)
    np.divide(c, b + root, out=lower, where=is_numerator_clear & (b + root > 0))
    upper = np.full_like(a, math.inf)
    np.divide(b + root, a, out=upper, where=is_bounded)
    return lower, upper


def _difference(
    white_total: WholeArray,
    white_count: WholeArray,
    red_total: WholeArray,
    red_count: WholeArray,
    ratio: WholeArray,
) -> FloatArray:
    """Return white − ratio × red in cd/lx/m², exact until the division."""
    whole = white_total * red_count * THOUSANDTHS - ratio * red_total * white_count
    difference: FloatArray = whole / (white_count * red_count * float(THOUSANDTHS**2))
    return difference
