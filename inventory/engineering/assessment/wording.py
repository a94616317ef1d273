"""The reason of a verdict in plain words."""

import math
from collections.abc import Iterable
from fractions import Fraction

from inventory.engineering.assessment.batch import ColorReadings, Comparison
from inventory.engineering.assessment.decision import NEVER_SETTLED, further_words
from inventory.engineering.assessment.elements import ElementKind, ElementPlan, FacePlan
from inventory.engineering.assessment.face import ReadingSet
from inventory.engineering.assessment.judge import Judgement
from inventory.engineering.assessment.vocabulary import WORST_FIRST, Verdict
from inventory.engineering.inspection.readings import (
    RECOMMENDED_READING_COUNT,
    THOUSANDTHS,
    decimal_words,
    looks_swapped,
)
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.vocabulary import Edition

_OTHER_VERDICT_WORDS = {
    Verdict.SHEETING_NOT_ALLOWED: "of sheeting not allowed here",
    Verdict.NO_USABLE_READING: "without a usable reading",
}


def element_reason(judgement: Judgement, selected: Iterable[ReadingSet]) -> str:
    """
    Return why an element has its verdict, and what that rests on.

    Parameters
    ----------
    judgement : Judgement
        From :func:`~inventory.engineering.assessment.judge.judge_element`.
    selected : iterable of ReadingSet
        What was read, with newer readings that are not judged among it.

    Returns
    -------
    str
        One or more sentences; the first states the verdict.

    Examples
    --------
    >>> from inventory.engineering.assessment.batch import ElementInput
    >>> from inventory.engineering.assessment.judge import judge_element
    >>> from inventory.engineering.standards.vocabulary import Color
    >>> plan = ElementPlan(ElementKind.COLOR, Color.RED, no_level="No level is published.")
    >>> element_reason(judge_element(ElementInput(plan, None, None), {}), [])
    'No level is published.'
    """
    said = [_verdict_sentence(judgement), *_grounds(judgement)]
    if judgement.plan.kind is ElementKind.COLOR:
        said += _unusable(judgement, selected)
    return " ".join(said)


def element_flags(judgement: Judgement) -> tuple[str, ...]:
    """Return what to mind about the readings an element was judged by, a sentence each."""
    first, second = judgement.given.first, judgement.given.second
    if first is None or not judgement.verdicts:
        return ()
    if judgement.plan.kind is ElementKind.COLOR:
        return tuple(_flags_of_color(first, judgement.verdict))
    return () if second is None else tuple(_flags_of_contrast(first, second))


def uncertainty_words(amount: float) -> str:
    """
    Return an uncertainty in figures, two of them that count.

    Examples
    --------
    >>> uncertainty_words(4.1796), uncertainty_words(0.357), uncertainty_words(123.4)
    ('4.2', '0.36', '123')
    """
    if amount <= 0:
        return "0"
    return f"{amount:.{max(0, 1 - math.floor(math.log10(amount)))}f}"


def interval_words(low: float, high: float | None) -> str:
    """
    Return the 95 % interval of a ratio in words; ``None`` says that it has no upper bound.

    Examples
    --------
    >>> interval_words(2.666, 3.41), interval_words(2.5, None)
    ('2.67 to 3.41', '2.50 and more, no upper bound')
    """
    if high is None or math.isinf(high):
        return f"{low:.2f} and more, no upper bound"
    return f"{low:.2f} to {high:.2f}"


def further_sentence(number: int) -> str:
    """
    Return how many further readings would likely settle an undecided verdict.

    Examples
    --------
    >>> further_sentence(3)
    'Further readings that would likely settle it: 3.'
    >>> further_sentence(NEVER_SETTLED)
    "No further readings would settle it: the instrument's own uncertainty is too large."
    """
    if number == NEVER_SETTLED:
        return (
            "No further readings would settle it: the instrument's own uncertainty is too "
            "large."
        )
    return f"Further readings that would likely settle it: {further_words(number)}."


def unverified_sentence(plan: ElementPlan) -> str:
    """Return what of an element's level was not compared with its source; empty if all was."""
    if not plan.unverified:
        return ""
    return f"Not compared with its source: {'; '.join(plan.unverified)}."


def note_on_other_colors(plan: FacePlan, selected: Iterable[ReadingSet]) -> list[str]:
    """Return a note on colours that were read although the face is not recorded with them."""
    known = {element.color for element in plan.elements}
    read = dict.fromkeys(each.color for each in selected)
    other = [color.words for color in read if color not in known]
    if not other:
        return []
    names = " and ".join(other)
    return [f"{_capital(names)} was read but is no judged colour of this face as recorded."]


def _verdict_sentence(judgement: Judgement) -> str:
    plan, verdict, value = judgement.plan, judgement.verdict, judgement.value
    name = _capital(plan.words)
    if plan.no_level or plan.not_known:
        sentence = plan.no_level or f"Undecided: {plan.not_known}."
        read = "" if value is None else f" Read: {decimal_words(value)} cd/lx/m²."
        return sentence + read
    if verdict is Verdict.UNDECIDED:
        comparison = judgement.comparison
        if comparison is None:
            return f"Undecided: {judgement.blame}. {_possibilities(judgement)}"
        return _within_guard(judgement, comparison)
    if verdict is Verdict.SHEETING_NOT_ALLOWED:
        return (
            f"{name}: {_columns(judgement)} may not be used for this colour here, whatever it "
            "measures."
        )
    if verdict is Verdict.NO_USABLE_READING:
        return f"No usable reading of {_needed(plan)}."
    level = _governing_level(judgement)
    if value is None:  # the red reads 0: no ratio can be formed, and none is too small
        return f"{name}: the red reads 0, so the white is over {_level_words(plan, level)}."
    shown = _value_words(plan, value, Fraction(level or 0, THOUSANDTHS))
    says = "meets" if verdict is Verdict.MEETS else "is below"
    return f"{name} {shown} {says} {_level_words(plan, level)}."


def _within_guard(judgement: Judgement, comparison: Comparison) -> str:
    """Return that a value is too near its level for the agency's guard, and what would help."""
    plan, value = judgement.plan, judgement.value
    level = _level_words(plan, _governing_level(judgement))
    if comparison.interval is None:
        guard = uncertainty_words(comparison.decision.guard_cd_lx_m2)
        shown = _value_words(plan, value or Fraction(0))
        near = f"{plan.words} {shown} is within the guard of {guard} around {level}"
    elif value is None:
        near = f"{plan.words}: the red reads 0, so the ratio has no upper bound"
    else:
        low, high = comparison.interval
        near = (
            f"{plan.words} {_value_words(plan, value)} is too near {level} (95 % interval "
            f"{interval_words(low, high)})"
        )
    return f"Undecided: {near}. {further_sentence(comparison.decision.further_readings)}"


def _governing_level(judgement: Judgement) -> int | None:
    return None if judgement.governing is None else judgement.governing.level


def _possibilities(judgement: Judgement) -> str:
    """Return what the rows that could apply say, each verdict once, worst first."""
    plan = judgement.plan
    parts = []
    for verdict in WORST_FIRST:
        rows = [row for row, each in judgement.verdicts.items() if each is verdict]
        if not rows:
            continue
        levels = sorted({row.level for row in rows if row.level is not None})
        figures = " and ".join(_level_words(plan, level) for level in levels)
        if verdict is Verdict.BELOW:
            parts.append(f"below {figures}")
        elif verdict is Verdict.MEETS:
            parts.append(f"at or above {figures}")
        elif verdict is Verdict.UNDECIDED:
            parts.append(f"within the guard around {figures}")
        else:
            parts.append(_OTHER_VERDICT_WORDS[verdict])
    shown = "" if judgement.value is None else f" {_value_words(plan, judgement.value)}"
    return f"{_capital(plan.words)}{shown} could be {'; or '.join(parts)}."


def _columns(judgement: Judgement) -> str:
    columns = dict.fromkeys(row.place[0] for row in judgement.verdicts)
    return " or ".join(column.replace("-", " Type ") for column in columns) + " sheeting"


def _needed(plan: ElementPlan) -> str:
    if plan.denominator is None:
        return plan.color.words
    return f"both {plan.color.words} and {plan.denominator.words}, for their contrast"


def _value_words(plan: ElementPlan, value: Fraction, apart_from: Fraction | None = None) -> str:
    figures = decimal_words(value, apart_from=apart_from)
    return f"{figures}:1" if plan.kind is ElementKind.CONTRAST else figures


def _level_words(plan: ElementPlan, level: int | None) -> str:
    """Return a level as it is written; one of the agency's own is always said to be that."""
    figures = _value_words(plan, Fraction(level or 0, THOUSANDTHS))
    return f"{figures}, the agency's own level" if plan.is_own_level else figures


def _grounds(judgement: Judgement) -> list[str]:
    """Return what the verdict rests on beside the readings."""
    said = []
    unsaid = (Verdict.UNDECIDED, Verdict.NO_USABLE_READING)
    if judgement.blame and judgement.verdict not in unsaid:
        says = "So" if len(set(judgement.verdicts.values())) == 1 else "It fails"
        said.append(f"{says} under every row that could apply ({judgement.blame}).")
    if judgement.plan.is_recommended:
        said.append(
            f"Level recommended by {Edition.MUTCD_2009_RECOMMENDED.words}, not binding."
        )
    if judgement.plan.agency_words:
        said.append(judgement.plan.agency_words)
    return said


def _flags_of_color(read: ColorReadings, verdict: Verdict) -> list[str]:
    said = []
    if read.result.is_few:
        number = "one reading" if read.result.count == 1 else f"{read.result.count} readings"
        said.append(f"Only {number}; {RECOMMENDED_READING_COUNT} a colour are usual.")
    said += _outlying(read)
    if any(one.how is How.MOBILE for one in read.sets):
        said.append("Read from a moving vehicle.")
    if any(one.surface_state is SurfaceState.DIRTY for one in read.sets):
        if verdict is Verdict.BELOW:
            said.append("The face was dirty: clean it and read it again before replacing it.")
        elif verdict is Verdict.UNDECIDED:
            said.append("The face was dirty: clean it and read it again.")
    return said


def _outlying(read: ColorReadings) -> list[str]:
    """Return which readings stand out of the others; they are in the mean all the same."""
    values = [value for one in read.sets for value in one.values]
    found = [
        decimal_words(Fraction(value))
        for value in sorted(values[place] for place in read.result.outliers)
    ]
    if not found:
        return []
    stands = "Reading {} stands" if len(found) == 1 else "Readings {} stand"
    stands = stands.format(" and ".join(found))
    return [f"{stands} out of the others and counts in the mean; look at that place again."]


def _flags_of_contrast(first: ColorReadings, second: ColorReadings) -> list[str]:
    said = []
    if {one.visit for one in first.sets} != {one.visit for one in second.sets}:
        said.append("The two colours were read on different visits.")
    if looks_swapped(first.result.mean, second.result.mean):
        said.append("White reads below red: were the two typed as each other?")
    return said


def _unusable(judgement: Judgement, selected: Iterable[ReadingSet]) -> list[str]:
    """Return why newer readings of a colour were left aside."""
    reasons = dict.fromkeys(
        f"{each.taken_at:%Y-%m-%d}: {each.reason_not_judged}"
        for each in selected
        if each.color is judgement.plan.color and each.reason_not_judged
    )
    return [f"Kept but not judged: {'; '.join(reasons)}."] if reasons else []


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
