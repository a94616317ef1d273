"""The verdict on each element of a face and on the face itself."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal
from fractions import Fraction
from math import isinf

import numpy as np

from inventory.engineering.assessment.batch import (
    ColorReadings,
    ElementInput,
    compare_many,
    reduce_many,
)
from inventory.engineering.assessment.conformity import probability_bounds
from inventory.engineering.assessment.elements import Candidate, ElementKind, FacePlan
from inventory.engineering.assessment.face import Face, ReadingSet, Rules, select_readings
from inventory.engineering.assessment.judge import Judgement, judge_element
from inventory.engineering.assessment.own_levels import AGENCY_LEVEL_TABLE
from inventory.engineering.assessment.plan import plan_face
from inventory.engineering.assessment.vocabulary import Verdict, worst_verdict
from inventory.engineering.assessment.wording import (
    element_flags,
    element_reason,
    note_on_other_colors,
    unverified_sentence,
)
from inventory.engineering.inspection.readings import THOUSANDTHS
from inventory.engineering.standards.vocabulary import Checked, Color

METHOD_VERSION = "assess-2"
UNVERIFIED_NOTE = "A level this rests on is unverified."
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

    ``expanded_uncertainty`` is the U of the mean ± U of a colour; ``interval_low`` and
    ``interval_high`` are the 95 % interval of a ratio, without an upper bound where the latter
    is ``None``. ``probability`` is that of the true value being at or above ``level``.
    ``further_readings`` is ``None`` unless more readings are what an undecided verdict asks
    for; its numbers are those of
    :class:`~inventory.engineering.assessment.decision.Decision`.
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
    is_own_level: bool = False
    expanded_uncertainty: float | None = None
    interval_low: float | None = None
    interval_high: float | None = None
    probability: float | None = None
    further_readings: int | None = None
    flags: tuple[str, ...] = ()

    @property
    def reason_with_flags(self) -> str:
        """Return the reason and what to mind about the readings."""
        return " ".join([self.reason, *self.flags])

    @property
    def full_reason(self) -> str:
        """Return the reason and what of the level was not compared with its source."""
        return f"{self.reason} {self.unverified}".rstrip()

    @property
    def rests_on_unverified(self) -> bool:
        """Return whether a published row that was not compared with its source decided it."""
        return (
            self.verdict not in (Verdict.NO_USABLE_READING, Verdict.NO_LEVEL)
            and self.table_id != AGENCY_LEVEL_TABLE
            and self.checked not in (None, Checked.YES)
        )

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

    ``visits`` are the visits whose readings were judged, in rising order. The probability that
    every deciding element truly meets its level lies between ``probability_low`` and
    ``probability_high``; ``None`` where nothing was compared with a level.
    """

    verdict: Verdict
    reason: str
    elements: tuple[ElementAssessment, ...] = ()
    visits: tuple[int, ...] = ()
    probability_low: float | None = None
    probability_high: float | None = None

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
    allowed: below. Otherwise undecided, with what would have to be known. A batch of one, see
    :func:`assess_faces`.

    Parameters
    ----------
    face : Face
        As it is recorded.
    readings : iterable of ReadingSet
        Everything read on this face, in any order; the newest usable visit of each colour is
        judged. [cd/lx/m²]
    rules : Rules
        The agency's edition, decision rule and choices.

    Returns
    -------
    FaceAssessment
        The face's verdict is the worst of its deciding elements (see
        :func:`~inventory.engineering.assessment.vocabulary.worst_verdict`).

    References
    ----------
    .. [1] MUTCD 11th edition (2023) section 2A.22 and Table 2A-5.
    .. [2] MUTCD 2009 section 2A.08 and Table 2A-3.
    .. [3] JCGM 106:2012, 7.3 and 8: probability, simple acceptance and guard bands.

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
    return assess_faces([(face, readings)], rules)[0]


def assess_faces(
    cases: Iterable[tuple[Face, Iterable[ReadingSet]]], rules: Rules
) -> list[FaceAssessment]:
    """
    Return the verdicts on many faces: as :func:`assess_face` gives them, on arrays.

    Parameters
    ----------
    cases : iterable of pairs
        Each face with everything read on it.
    rules : Rules
        Of the one agency.

    Examples
    --------
    >>> from inventory.engineering.standards.vocabulary import Edition
    >>> [one.verdict.value for one in assess_faces([(Face(None), [])], Rules(Edition.MUTCD_11))]
    ['undecided']
    """
    given = [(face, select_readings(readings)) for face, readings in cases]
    plans = [plan_face(face, rules.narrowed_to(face)) for face, _ in given]
    selections = [
        () if plan.excluded else selected
        for plan, (_, selected) in zip(plans, given, strict=True)
    ]
    reads = reduce_many(selections, rules.uncertainty)
    inputs = [
        ElementInput(
            element,
            read.get(element.color),
            None if element.denominator is None else read.get(element.denominator),
        )
        for plan, read in zip(plans, reads, strict=True)
        for element in plan.elements
    ]
    compared = compare_many(inputs, rules.decision_rule)
    judgements = iter(
        judge_element(each, comparisons)
        for each, comparisons in zip(inputs, compared, strict=True)
    )
    assessments = []
    ranges = []
    for plan, read, selected in zip(plans, reads, selections, strict=True):
        of_face = [next(judgements) for _ in plan.elements]
        assessments.append(_assess(plan, of_face, read, selected))
        ranges.append(_probability_ranges(of_face))
    return _with_bounds(assessments, ranges)


def _assess(
    plan: FacePlan,
    judgements: Sequence[Judgement],
    read: Mapping[Color, ColorReadings],
    selected: Sequence[ReadingSet],
) -> FaceAssessment:
    if plan.excluded:
        return FaceAssessment(Verdict.EXCLUDED, plan.excluded)
    elements = tuple(_assess_element(judgement, selected) for judgement in judgements)
    deciding = [element for element in elements if element.decides]
    if deciding:
        verdict = worst_verdict(element.verdict for element in deciding)
        reason = _face_reason(verdict, deciding)
    else:
        verdict = Verdict.UNDECIDED
        reason = f"Undecided: {plan.not_known or 'colours not known'}."
    notes = [*plan.notes, *note_on_other_colors(plan, selected)]
    said = [e for e in deciding if verdict in (e.verdict, Verdict.MEETS)]
    if any(each.rests_on_unverified for each in said):
        notes.append(UNVERIFIED_NOTE)
    return FaceAssessment(
        verdict, " ".join([reason, *notes]), elements, _judged_visits(plan, read)
    )


def _assess_element(judgement: Judgement, selected: Sequence[ReadingSet]) -> ElementAssessment:
    plan, row, first = judgement.plan, judgement.governing, judgement.given.first
    comparison = judgement.comparison
    decision = None if comparison is None else comparison.decision
    interval = next(
        (each.interval for each in judgement.comparisons.values() if each.interval), None
    )
    is_color = plan.kind is ElementKind.COLOR
    is_undecided = judgement.verdict is Verdict.UNDECIDED
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
        is_own_level=plan.is_own_level,
        expanded_uncertainty=(
            first.expanded_uncertainty_cd_lx_m2 if is_color and first is not None else None
        ),
        interval_low=None if interval is None else interval[0],
        interval_high=None if interval is None or isinf(interval[1]) else interval[1],
        probability=None if decision is None else decision.probability,
        further_readings=decision.further_readings if decision and is_undecided else None,
        flags=element_flags(judgement),
    )


def _probability_ranges(judgements: Sequence[Judgement]) -> list[tuple[float, float]]:
    """Return the ranges of the deciding elements; none where nothing could be compared."""
    deciding = [each for each in judgements if each.plan.decides]
    if not any(each.comparisons for each in deciding):
        return []
    ranges = (each.probability_range for each in deciding)
    return [each for each in ranges if each is not None]


def _with_bounds(
    assessments: Sequence[FaceAssessment], ranges: Sequence[Sequence[tuple[float, float]]]
) -> list[FaceAssessment]:
    """Return the assessments with the bounds of their faces' probabilities."""
    places = [place for place, of_face in enumerate(ranges) if of_face]
    bounded = list(assessments)
    if not places:
        return bounded
    lengths = [len(ranges[place]) for place in places]
    starts = np.cumsum([0, *lengths[:-1]])
    flat = np.array([each for place in places for each in ranges[place]])
    low = probability_bounds(flat[:, 0], starts)[0].tolist()
    high = probability_bounds(flat[:, 1], starts)[1].tolist()
    for index, place in enumerate(places):
        bounded[place] = replace(
            bounded[place], probability_low=low[index], probability_high=high[index]
        )
    return bounded


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
        reasons = (each.reason_with_flags for each in deciding if each.verdict is verdict)
        return " ".join(dict.fromkeys(reasons))
    closest = min(deciding, key=lambda each: (each.margin_ratio is None, each.margin_ratio))
    if len(deciding) == 1:
        return closest.reason_with_flags
    return (
        f"Every colour and contrast meets its level; the closest: {closest.reason_with_flags}"
    )
