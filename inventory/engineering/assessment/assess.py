"""The verdict on each element of a face and on the face itself."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction

from inventory.engineering.assessment.face import Face, ReadingSet, Rules, select_readings
from inventory.engineering.assessment.judge import (
    ColorReadings,
    judge_element,
    usable_readings,
)
from inventory.engineering.assessment.plan import (
    Candidate,
    ElementKind,
    ElementPlan,
    FacePlan,
    plan_face,
)
from inventory.engineering.assessment.vocabulary import Verdict, worst_verdict
from inventory.engineering.assessment.wording import (
    element_reason,
    note_on_other_colors,
    unverified_sentence,
)
from inventory.engineering.inspection.readings import THOUSANDTHS
from inventory.engineering.standards.vocabulary import Checked, Color

METHOD_VERSION = "assess-1"
_STORED_PLACES = Decimal("0.000001")


@dataclass(frozen=True, slots=True)
class ElementAssessment:
    """
    The verdict on one colour or contrast.

    ``value`` is the exact mean in cd/lx/m², or the exact ratio; ``level`` is in the same unit.
    Where several rows agree, ``level``, ``table_id`` and ``row_id`` are those of the row that
    is hardest to meet (verdict meets) or easiest (verdict below). ``checked`` is how far that
    row, and what chose it, was compared with its source, and ``unverified`` the sentence that
    says what was not. ``decides`` is false for a colour that the face's own row leaves open:
    it is shown, and does not count for the face.
    """

    kind: ElementKind
    color: str
    verdict: Verdict
    reason: str
    decides: bool = True
    value: Fraction | None = None
    level: Decimal | None = None
    reading_count: int = 0
    table_id: str = ""
    row_id: str = ""
    checked: Checked | None = None
    unverified: str = ""
    is_recommended: bool = False

    @property
    def full_reason(self) -> str:
        """Return the reason and what of the level was not compared with its source."""
        return f"{self.reason} {self.unverified}".rstrip()

    @property
    def margin(self) -> Fraction | None:
        """Return value minus level, negative when below; ``None`` where either is missing."""
        if self.value is None or self.level is None:
            return None
        return self.value - Fraction(self.level)

    @property
    def margin_ratio(self) -> Fraction | None:
        """Return value over level, under 1 when below; ``None`` where either is missing."""
        if self.value is None or self.level is None:
            return None
        return self.value / Fraction(self.level)

    @property
    def value_to_store(self) -> Decimal | None:
        """Return the value to six places, cut off: it never looks higher than it is."""
        if self.value is None:
            return None
        whole = self.value.numerator * 10**6 // self.value.denominator
        return (Decimal(whole) / 10**6).quantize(_STORED_PLACES, rounding=ROUND_FLOOR)


@dataclass(frozen=True, slots=True)
class FaceAssessment:
    """
    The verdict on a face: its worst deciding element, with the reason.

    ``visits`` are the visits whose readings were judged, in rising order.
    """

    verdict: Verdict
    reason: str
    elements: tuple[ElementAssessment, ...] = ()
    visits: tuple[int, ...] = ()

    @property
    def margin_ratio(self) -> Fraction | None:
        """Return the least value over level among the judged elements that decide."""
        ratios = [
            element.margin_ratio
            for element in self.elements
            if element.decides and element.margin_ratio is not None
        ]
        return min(ratios, default=None)


def assess_face(face: Face, readings: Iterable[ReadingSet], rules: Rules) -> FaceAssessment:
    """
    Return the verdict on a face from what was read on it, under an agency's rules.

    Every element is judged against every row that could apply. All agree: that verdict, and
    the reason says so. All fail, some for the level and some because the sheeting is not
    allowed: below. Otherwise undecided, with what would have to be known.

    Parameters
    ----------
    face : Face
        As it is recorded.
    readings : iterable of ReadingSet
        Everything read on this face, in any order; the newest usable visit of each colour is
        judged. [cd/lx/m²]
    rules : Rules
        The agency's edition and choices.

    Returns
    -------
    FaceAssessment
        The face's verdict is the worst of its deciding elements (see
        :func:`~inventory.engineering.assessment.vocabulary.worst_verdict`).

    References
    ----------
    .. [1] MUTCD 11th edition (2023) section 2A.22 and Table 2A-5.
    .. [2] MUTCD 2009 section 2A.08 and Table 2A-3.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> from inventory.engineering.standards.vocabulary import Edition
    >>> day = datetime(2026, 5, 1, tzinfo=UTC)
    >>> four = lambda color, value: ReadingSet(color, (Decimal(value),) * 4, day, 1)
    >>> stop = Face(find_sign_type("R1-1")[0])
    >>> read = [four(Color.WHITE, "40"), four(Color.RED, "15")]
    >>> result = assess_face(stop, read, Rules(Edition.MUTCD_11))
    >>> result.verdict.value
    'below'
    >>> result.reason
    'White/red contrast 2.67:1 is below 3:1.'
    """
    plan = plan_face(face, rules)
    if plan.excluded:
        return FaceAssessment(Verdict.EXCLUDED, plan.excluded)
    selected = select_readings(readings)
    read = usable_readings(selected)
    elements = tuple(_assess_element(element, read, selected) for element in plan.elements)
    deciding = [element for element in elements if element.decides]
    if deciding:
        verdict = worst_verdict(element.verdict for element in deciding)
        reason = _face_reason(verdict, deciding)
    else:
        verdict = Verdict.UNDECIDED
        reason = f"Undecided: {plan.not_known or 'colours not known'}."
    notes = [*plan.notes, *note_on_other_colors(plan, selected)]
    return FaceAssessment(
        verdict, " ".join([reason, *notes]), elements, _judged_visits(plan, read)
    )


def _assess_element(
    plan: ElementPlan, read: Mapping[Color, ColorReadings], selected: Sequence[ReadingSet]
) -> ElementAssessment:
    judgement = judge_element(plan, read)
    row = judgement.governing
    return ElementAssessment(
        plan.kind,
        plan.name,
        judgement.verdict,
        element_reason(judgement, selected),
        decides=plan.decides,
        value=judgement.value,
        level=_level_of(row),
        reading_count=judgement.reading_count,
        table_id=plan.candidates[0].table_id if plan.candidates else "",
        row_id=row.row_id if row is not None else "",
        checked=row.checked if row is not None else None,
        unverified=unverified_sentence(plan) if row is not None else "",
        is_recommended=plan.is_recommended,
    )


def _level_of(row: Candidate | None) -> Decimal | None:
    if row is None or row.level is None:
        return None
    return (Decimal(row.level) / THOUSANDTHS).quantize(Decimal("0.001"))


def _judged_visits(plan: FacePlan, read: Mapping[Color, ColorReadings]) -> tuple[int, ...]:
    """Return the visits whose readings an element of the plan used."""
    used = {element.color for element in plan.elements}
    visits = {each.visit for color in used & read.keys() for each in read[color].sets}
    return tuple(sorted(visits))


def _face_reason(verdict: Verdict, deciding: Sequence[ElementAssessment]) -> str:
    """Return the reason of the whole face: what its worst elements say."""
    if verdict is not Verdict.MEETS:
        reasons = (each.reason for each in deciding if each.verdict is verdict)
        return " ".join(dict.fromkeys(reasons))
    closest = min(deciding, key=lambda each: (each.margin_ratio is None, each.margin_ratio))
    if len(deciding) == 1:
        return closest.reason
    return f"Every colour and contrast meets its level; the closest: {closest.reason}"
