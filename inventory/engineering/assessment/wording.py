"""The reason of a verdict in plain words."""

from collections.abc import Iterable
from fractions import Fraction

from inventory.engineering.assessment.face import ReadingSet
from inventory.engineering.assessment.judge import ColorReadings, Judgement
from inventory.engineering.assessment.plan import ElementKind, ElementPlan, FacePlan
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
    Return why an element has its verdict, and what else a reader has to know of it.

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
    >>> from inventory.engineering.assessment.judge import judge_element
    >>> from inventory.engineering.standards.vocabulary import Color
    >>> plan = ElementPlan(ElementKind.COLOR, Color.RED, no_level="No level is published.")
    >>> element_reason(judge_element(plan, {}), [])
    'No level is published.'
    """
    said = [_verdict_sentence(judgement), *_remarks(judgement)]
    if judgement.plan.kind is ElementKind.COLOR:
        said += _unusable(judgement, selected)
    return " ".join(said)


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
        return f"Undecided: {judgement.blame}. {_possibilities(judgement)}"
    if verdict is Verdict.SHEETING_NOT_ALLOWED:
        return (
            f"{name}: {_columns(judgement)} may not be used for this colour here, whatever it "
            "measures."
        )
    if verdict is Verdict.NO_USABLE_READING:
        return f"No usable reading of {_needed(plan)}."
    level = judgement.governing.level if judgement.governing is not None else None
    if value is None:  # the red reads 0: no ratio can be formed, and none is too small
        return f"{name}: the red reads 0, so the white is over {_level_words(plan, level)}."
    shown = _value_words(plan, value, Fraction(level or 0, THOUSANDTHS))
    says = "meets" if verdict is Verdict.MEETS else "is below"
    return f"{name} {shown} {says} {_level_words(plan, level)}."


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
    """Return a level as it is written: a number of cd/lx/m², or a ratio to one."""
    return _value_words(plan, Fraction(level or 0, THOUSANDTHS))


def _remarks(judgement: Judgement) -> list[str]:
    """Return what the verdict rests on, where that is less than usual."""
    said = []
    unsaid = (Verdict.UNDECIDED, Verdict.NO_USABLE_READING)
    if judgement.blame and judgement.verdict not in unsaid:
        says = "So" if len(set(judgement.verdicts.values())) == 1 else "It fails"
        said.append(f"{says} under every row that could apply ({judgement.blame}).")
    if judgement.plan.is_recommended:
        said.append(
            f"Level recommended by {Edition.MUTCD_2009_RECOMMENDED.words}, not binding."
        )
    first, second = judgement.first, judgement.second
    if first is None or not judgement.verdicts:
        return said
    if judgement.plan.kind is ElementKind.COLOR:
        return said + _remarks_on_readings(first, judgement.verdict)
    if second is not None:
        if {one.visit for one in first.sets} != {one.visit for one in second.sets}:
            said.append("The two colours were read on different visits.")
        if looks_swapped(first.reduced.mean, second.reduced.mean):
            said.append("White reads below red: were the two typed as each other?")
    return said


def _remarks_on_readings(read: ColorReadings, verdict: Verdict) -> list[str]:
    said = []
    if read.reduced.is_few:
        number = "one reading" if read.reduced.count == 1 else f"{read.reduced.count} readings"
        said.append(f"Only {number}; {RECOMMENDED_READING_COUNT} a colour are usual.")
    if any(one.how is How.MOBILE for one in read.sets):
        said.append("Read from a moving vehicle.")
    if verdict is Verdict.BELOW and any(
        one.surface_state is SurfaceState.DIRTY for one in read.sets
    ):
        said.append("The face was dirty: clean it and read it again before replacing it.")
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
