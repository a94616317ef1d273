"""One element of a face under every row that could apply: exact, without words."""

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from inventory.engineering.assessment.batch import Comparison, Comparisons, ElementInput
from inventory.engineering.assessment.elements import (
    Axis,
    Candidate,
    ElementKind,
    ElementPlan,
)
from inventory.engineering.assessment.vocabulary import Verdict

_AXES = tuple(Axis)


@dataclass(frozen=True, slots=True)
class Judgement:
    """
    What the rows that could apply say of one element.

    ``governing`` is the row a verdict is stated with: the hardest to meet, or the easiest that
    is missed; ``None`` where no one row states it. ``blame`` names what of the face is not
    known and leaves several rows.
    """

    given: ElementInput
    verdict: Verdict
    verdicts: Mapping[Candidate, Verdict]
    comparisons: Comparisons
    value: Fraction | None
    reading_count: int
    governing: Candidate | None = None
    blame: str = ""

    @property
    def plan(self) -> ElementPlan:
        """Return the element that was judged."""
        return self.given.plan

    @property
    def comparison(self) -> Comparison | None:
        """Return the comparison under the governing row; ``None`` where nothing was read."""
        if self.governing is None or self.governing.level is None:
            return None
        return self.comparisons.get(self.governing.level)

    @property
    def probability_range(self) -> tuple[float, float] | None:
        """
        Return between what the probability of meeting lies, whichever row applies.

        Anything is possible for a colour that was not read; a row that prohibits the sheeting
        cannot be met. ``None`` where there is no level.
        """
        if self.plan.no_level:
            return None
        if not self.verdicts:
            return 0.0, 1.0
        ranges = [self._range_under(row) for row in self.verdicts]
        return min(low for low, _ in ranges), max(high for _, high in ranges)

    def _range_under(self, row: Candidate) -> tuple[float, float]:
        if row.level is None:
            return 0.0, 0.0
        comparison = self.comparisons.get(row.level)
        if comparison is None:
            return 0.0, 1.0
        return comparison.decision.probability, comparison.decision.probability


def judge_element(given: ElementInput, comparisons: Comparisons) -> Judgement:
    """
    Return what the rows that could apply say of one element.

    All rows agree: that verdict. All fail, some for the level and some because the sheeting is
    not allowed: below. Otherwise undecided. An element without a row has no level; one whose
    rows cannot be found for want of knowledge is undecided.

    Parameters
    ----------
    given : ElementInput
        The element and what was read for it.
    comparisons : mapping
        From :func:`~inventory.engineering.assessment.batch.compare_many`.

    Examples
    --------
    >>> from inventory.engineering.standards.vocabulary import Color
    >>> plan = ElementPlan(ElementKind.COLOR, Color.RED, no_level="No level is published.")
    >>> judge_element(ElementInput(plan, None, None), {}).verdict.value
    'no level'
    """
    plan = given.plan
    value, count = _value_of(given)
    if plan.no_level or plan.not_known:
        verdict = Verdict.NO_LEVEL if plan.no_level else Verdict.UNDECIDED
        return Judgement(given, verdict, {}, {}, value, count)
    verdicts = {row: _verdict_under(row, comparisons) for row in plan.candidates}
    verdict = _agreed(set(verdicts.values()))
    return Judgement(
        given,
        verdict,
        verdicts,
        comparisons,
        value,
        count,
        governing=_governing(verdict, verdicts),
        blame=_blame(plan, verdicts),
    )


def _value_of(given: ElementInput) -> tuple[Fraction | None, int]:
    """Return the exact mean or ratio and how many readings it rests on (the fewer of two)."""
    first, second = given.first, given.second
    if given.plan.kind is ElementKind.COLOR:
        return (None, 0) if first is None else (first.result.mean, first.result.count)
    if first is None or second is None:
        return None, 0
    count = min(first.result.count, second.result.count)
    if second.result.reduced.total_thousandths == 0:
        return None, count
    return first.result.mean / second.result.mean, count


def _verdict_under(row: Candidate, comparisons: Comparisons) -> Verdict:
    """Return the verdict under one row."""
    if row.level is None:
        return Verdict.SHEETING_NOT_ALLOWED
    comparison = comparisons.get(row.level)
    return Verdict.NO_USABLE_READING if comparison is None else comparison.decision.verdict


def _agreed(verdicts: set[Verdict]) -> Verdict:
    """Return what several rows agree on; a face that fails under each of them fails."""
    if len(verdicts) == 1:
        return next(iter(verdicts))
    if all(verdict.is_failing for verdict in verdicts):
        return Verdict.BELOW
    return Verdict.UNDECIDED


def _governing(verdict: Verdict, verdicts: Mapping[Candidate, Verdict]) -> Candidate | None:
    """Return the row a verdict is stated with."""
    if verdict is Verdict.SHEETING_NOT_ALLOWED:
        return next(iter(verdicts))
    if verdict is Verdict.UNDECIDED and len(set(verdicts.values())) > 1:
        return None
    if verdict is Verdict.NO_USABLE_READING and len({row.level for row in verdicts}) > 1:
        return None
    levelled = [row for row in verdicts if row.level is not None]
    choose = min if verdict is Verdict.BELOW else max
    return choose(levelled, key=lambda row: row.level or 0)


def _blame(plan: ElementPlan, verdicts: Mapping[Candidate, Verdict]) -> str:
    """Return which unknowns make the rows differ in verdict; failing that, all of them."""
    differing: set[Axis] = set()
    several: set[Axis] = set()
    for one, other in combinations(verdicts, 2):
        apart = {
            axis for axis, a, b in zip(_AXES, one.place, other.place, strict=True) if a != b
        }
        several |= apart
        if verdicts[one] is not verdicts[other] and len(apart) == 1:
            differing |= apart
    wanted = differing or several
    return " and ".join(words for axis, words in plan.unknown if axis in wanted)
