"""
The readings of many faces reduced, and their levels decided, on arrays.

One face is a batch of one: the same arithmetic judges a sign or a million.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from inventory.engineering.assessment.contrast import decide_contrasts
from inventory.engineering.assessment.decision import Decision, DecisionRule, decide_levels
from inventory.engineering.assessment.elements import ElementKind, ElementPlan
from inventory.engineering.assessment.face import ReadingSet
from inventory.engineering.inspection.instrument_uncertainty import InstrumentUncertainty
from inventory.engineering.inspection.uncertainty import (
    ColorResult,
    columns_of,
    expanded_uncertainty,
    reduce_colors,
)
from inventory.engineering.standards.vocabulary import Color


@dataclass(frozen=True, slots=True)
class ColorReadings:
    """
    What was read of one colour and is judged: one visit, put together.

    ``expanded_uncertainty_cd_lx_m2`` is the U of its mean ± U.
    """

    result: ColorResult
    sets: tuple[ReadingSet, ...]
    expanded_uncertainty_cd_lx_m2: float

    def shares_session_with(self, other: "ColorReadings") -> bool:
        """Return whether one recorded instrument read both colours on one day."""
        sessions = {each.session for each in (*self.sets, *other.sets)}
        return len(sessions) == 1 and None not in sessions


@dataclass(frozen=True, slots=True)
class Comparison:
    """A value against one level: the decision, and of a contrast the interval of the ratio."""

    decision: Decision
    interval: tuple[float, float] | None = None


Comparisons = Mapping[int, Comparison]


@dataclass(frozen=True, slots=True)
class ElementInput:
    """One element with what was read for it."""

    plan: ElementPlan
    first: ColorReadings | None
    second: ColorReadings | None

    @property
    def has_value(self) -> bool:
        """Return whether there is a mean or ratio to compare; nought over nought is none."""
        if self.first is None:
            return False
        if self.plan.kind is ElementKind.COLOR:
            return True
        return self.second is not None and not (
            self.first.result.reduced.total_thousandths
            == self.second.result.reduced.total_thousandths
            == 0
        )


def reduce_many(
    selections: Sequence[Sequence[ReadingSet]], uncertainty: InstrumentUncertainty
) -> list[dict[Color, ColorReadings]]:
    """
    Return the judged readings of many faces by colour; sets that are not judged are left out.

    Parameters
    ----------
    selections : sequence of sequences of ReadingSet
        Of each face what :func:`~inventory.engineering.assessment.face.select_readings` gives.
    uncertainty : InstrumentUncertainty
        What the agency states of its instruments.

    Examples
    --------
    >>> from inventory.engineering.inspection.instrument_uncertainty import ASSUMED_UNCERTAINTY
    >>> reduce_many([()], ASSUMED_UNCERTAINTY)
    [{}]
    """
    judged: list[dict[Color, list[ReadingSet]]] = []
    for selected in selections:
        of_color: dict[Color, list[ReadingSet]] = {}
        for each in selected:
            if not each.reason_not_judged:
                of_color.setdefault(each.color, []).append(each)
        judged.append(of_color)
    results = reduce_colors(
        (
            [value for each in sets for value in each.values]
            for of_color in judged
            for sets in of_color.values()
        ),
        uncertainty,
    )
    if not results:
        return [{} for _ in judged]
    expanded = expanded_uncertainty(columns_of(results)).tolist()
    in_turn = iter(zip(results, expanded, strict=True))

    def next_readings(sets: list[ReadingSet]) -> ColorReadings:
        result, expanded_uncertainty_cd_lx_m2 = next(in_turn)
        return ColorReadings(result, tuple(sets), expanded_uncertainty_cd_lx_m2)

    return [
        {color: next_readings(sets) for color, sets in of_color.items()} for of_color in judged
    ]


def compare_many(inputs: Sequence[ElementInput], rule: DecisionRule) -> list[Comparisons]:
    """
    Return, for each element, its comparison with every level that could apply.

    Parameters
    ----------
    inputs : sequence of ElementInput
        Of any number of faces.
    rule : DecisionRule
        The agency's.

    Returns
    -------
    list of mappings
        From the level in thousandths; empty where nothing was read.

    Examples
    --------
    >>> from inventory.engineering.assessment.decision import SIMPLE_ACCEPTANCE
    >>> compare_many([], SIMPLE_ACCEPTANCE)
    []
    """
    found: list[dict[int, Comparison]] = [{} for _ in inputs]
    colors: list[tuple[int, int, ColorResult]] = []
    contrasts: list[tuple[int, int, ColorReadings, ColorReadings]] = []
    for place, each in enumerate(inputs):
        if not each.has_value or each.first is None:
            continue
        levels = dict.fromkeys(
            row.level for row in each.plan.candidates if row.level is not None
        )
        if each.second is None:
            colors += [(place, level, each.first.result) for level in levels]
        else:
            contrasts += [(place, level, each.first, each.second) for level in levels]
    if colors:
        decided = decide_levels(
            columns_of([result for _, _, result in colors]),
            np.array([level for _, level, _ in colors]),
            rule,
        )
        for index, (place, level, _) in enumerate(colors):
            found[place][level] = Comparison(decided.row(index))
    if contrasts:
        ratios = decide_contrasts(
            columns_of([white.result for _, _, white, _ in contrasts]),
            columns_of([red.result for _, _, _, red in contrasts]),
            np.array([ratio for _, ratio, _, _ in contrasts]),
            np.array([white.shares_session_with(red) for _, _, white, red in contrasts]),
            rule,
        )
        for index, (place, ratio, _, _) in enumerate(contrasts):
            row = ratios.row(index)
            found[place][ratio] = Comparison(row.decision, (row.ratio_lower, row.ratio_upper))
    return list(found)
