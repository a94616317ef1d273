"""One element of a face under every row that could apply: exact, without words."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from inventory.engineering.assessment.compare import meets_contrast, meets_level
from inventory.engineering.assessment.face import ReadingSet
from inventory.engineering.assessment.plan import Axis, Candidate, ElementKind, ElementPlan
from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.readings import ReducedReadings, reduce_readings
from inventory.engineering.standards.vocabulary import Color


@dataclass(frozen=True, slots=True)
class ColorReadings:
    """What was read of one colour and is judged: one visit, put together."""

    reduced: ReducedReadings
    sets: tuple[ReadingSet, ...]


@dataclass(frozen=True, slots=True)
class Judgement:
    """
    What the rows that could apply say of one element.

    ``governing`` is the row a verdict is stated with: the hardest to meet, or the easiest that
    is missed; ``None`` where no one row states it. ``blame`` names what of the face is not
    known and leaves several rows.
    """

    plan: ElementPlan
    first: ColorReadings | None
    second: ColorReadings | None
    verdict: Verdict
    verdicts: Mapping[Candidate, Verdict]
    value: Fraction | None
    reading_count: int
    governing: Candidate | None = None
    blame: str = ""


def usable_readings(selected: Iterable[ReadingSet]) -> dict[Color, ColorReadings]:
    """Return the judged readings by colour; sets that are not judged are left out."""
    of_color: dict[Color, list[ReadingSet]] = {}
    for each in selected:
        if not each.reason_not_judged:
            of_color.setdefault(each.color, []).append(each)
    return {
        color: ColorReadings(
            reduce_readings(value for one in sets for value in one.values), tuple(sets)
        )
        for color, sets in of_color.items()
    }


def judge_element(plan: ElementPlan, read: Mapping[Color, ColorReadings]) -> Judgement:
    """
    Return what the rows that could apply say of one element.

    All rows agree: that verdict. All fail, some for the level and some because the sheeting is
    not allowed: below. Otherwise undecided. An element without a row has no level; one whose
    rows cannot be found for want of knowledge is undecided.

    Parameters
    ----------
    plan : ElementPlan
        From :func:`~inventory.engineering.assessment.plan.plan_face`.
    read : mapping of Color to ColorReadings
        What was read and is judged.

    Examples
    --------
    >>> plan = ElementPlan(ElementKind.COLOR, Color.RED, no_level="No level is published.")
    >>> judge_element(plan, {}).verdict.value
    'no level'
    """
    first = read.get(plan.color)
    second = None if plan.denominator is None else read.get(plan.denominator)
    value, count = _value_of(plan, first, second)
    if plan.no_level or plan.not_known:
        verdict = Verdict.NO_LEVEL if plan.no_level else Verdict.UNDECIDED
        return Judgement(plan, first, second, verdict, {}, value, count)
    verdicts = {
        candidate: _verdict_under(candidate, first, second, plan)
        for candidate in plan.candidates
    }
    verdict = _agreed(set(verdicts.values()))
    return Judgement(
        plan,
        first,
        second,
        verdict,
        verdicts,
        value,
        count,
        governing=_governing(verdict, verdicts),
        blame=_blame(plan, verdicts),
    )


def _value_of(
    plan: ElementPlan, first: ColorReadings | None, second: ColorReadings | None
) -> tuple[Fraction | None, int]:
    """Return the exact mean or ratio and how many readings it rests on (the fewer of two)."""
    if plan.kind is ElementKind.COLOR:
        return (None, 0) if first is None else (first.reduced.mean, first.reduced.count)
    if first is None or second is None:
        return None, 0
    count = min(first.reduced.count, second.reduced.count)
    if second.reduced.total_thousandths == 0:
        return None, count
    return first.reduced.mean / second.reduced.mean, count


def _verdict_under(
    candidate: Candidate,
    first: ColorReadings | None,
    second: ColorReadings | None,
    plan: ElementPlan,
) -> Verdict:
    """Return the verdict under one row."""
    if candidate.level is None:
        return Verdict.SHEETING_NOT_ALLOWED
    if first is None:
        return Verdict.NO_USABLE_READING
    top = first.reduced
    if plan.kind is ElementKind.COLOR:
        is_met = meets_level(top.total_thousandths, top.count, candidate.level)
        return Verdict.MEETS if is_met else Verdict.BELOW
    if second is None or top.total_thousandths == second.reduced.total_thousandths == 0:
        return Verdict.NO_USABLE_READING  # nought over nought is no ratio
    is_met = meets_contrast(
        top.total_thousandths,
        top.count,
        second.reduced.total_thousandths,
        second.reduced.count,
        candidate.level,
    )
    return Verdict.MEETS if is_met else Verdict.BELOW


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
    if verdict is Verdict.UNDECIDED:
        return None
    if verdict is Verdict.NO_USABLE_READING and len({row.level for row in verdicts}) > 1:
        return None
    levelled = [row for row in verdicts if row.level is not None]
    choose = min if verdict is Verdict.BELOW else max
    return choose(levelled, key=lambda row: row.level or 0)


def _blame(plan: ElementPlan, verdicts: Mapping[Candidate, Verdict]) -> str:
    """Return which unknowns make the rows differ in verdict; failing that, all of them."""
    axes = list(Axis)
    differing: set[Axis] = set()
    several: set[Axis] = set()
    for one, other in combinations(verdicts, 2):
        apart = {
            axis for axis, a, b in zip(axes, one.place, other.place, strict=True) if a != b
        }
        several |= apart
        if verdicts[one] is not verdicts[other] and len(apart) == 1:
            differing |= apart
    wanted = differing or several
    return " and ".join(words for axis, words in plan.unknown if axis in wanted)
