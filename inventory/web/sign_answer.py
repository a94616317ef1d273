"""The answer at the head of a sign's page: a word, a number against its level, and why."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.engineering.assessment.decision import further_words
from inventory.engineering.assessment.own_levels import AGENCY_LEVEL_TABLE
from inventory.engineering.assessment.wording import interval_words, uncertainty_words
from inventory.engineering.inspection.readings import decimal_words
from inventory.engineering.standards.tables import find_table_source
from inventory.engineering.standards.vocabulary import Checked, Color, Edition
from inventory.models import ElementAssessment
from inventory.services.damage_lists import clock_of
from inventory.services.marks import Mark, mark_of, mark_of_standing
from inventory.services.rules import rules_of
from inventory.web.numbers import plain, probability_words

if TYPE_CHECKING:
    from inventory.models import Assessment, DamageStanding
    from inventory.services.damage_lists import Clock
    from inventory.services.sign_record import SignRecord


def open_damage_of(record: SignRecord) -> list[tuple[DamageStanding, Clock]]:
    """Return the open damage of a face, each with its clock."""
    today = timezone.localdate()
    return [(row, clock_of(row, today)) for row in record.damage if row.is_open]


@dataclass(frozen=True)
class Judged:
    """
    One colour or contrast as the page shows it, with where its level is printed.

    ``spread`` is how sure the value is: ± U of a colour, the 95 % interval of a ratio.
    """

    name: str
    mark: Mark
    value: str
    spread: str
    level: str
    unit: str
    probability: str
    further: str
    flags: list[str]
    is_own_level: bool
    reading_count: int
    table: str
    row_id: str
    checked_words: str
    is_verified: bool
    reason: str

    @property
    def is_measured(self) -> bool:
        """Return whether there is a value to hold against a level."""
        return bool(self.value and self.level)


@dataclass(frozen=True)
class Answer:
    """How the sign stands."""

    mark: Mark
    why: str
    governing: Judged | None
    judged: list[Judged]
    edition: str
    rule: str
    probability: str
    uncertainty_basis: str


def answer(record: SignRecord) -> Answer | None:
    """Return the answer for a face; ``None`` when it was never judged."""
    assessment = record.assessment
    if assessment is None:
        return None
    standing = record.standing
    return Answer(
        mark=mark_of_standing(standing) if standing else mark_of(assessment.verdict),
        why=assessment.reason,
        governing=judged(record.governing) if record.governing else None,
        judged=[judged(element) for element in record.elements],
        edition=Edition(assessment.edition).words,
        rule=rules_of(assessment.policy).decision_rule.words,
        probability=_bounds_words(assessment),
        uncertainty_basis=assessment.policy.uncertainty_basis,
    )


def judged(element: ElementAssessment) -> Judged:
    """Return one stored element in words and figures."""
    is_contrast = element.kind == ElementAssessment.Kind.CONTRAST
    checked = Checked(element.checked) if element.checked else None
    is_own_level = element.table_id == AGENCY_LEVEL_TABLE
    return Judged(
        name=f"contrast {element.color}" if is_contrast else Color(element.color).words,
        mark=mark_of(element.verdict),
        value=_value_words(element),
        spread=_spread_words(element),
        level="" if element.level is None else plain(element.level),
        unit="to 1" if is_contrast else "cd/lx/m²",
        probability=(
            "" if element.probability is None else probability_words(element.probability)
        ),
        further=(
            "" if element.further_readings is None else further_words(element.further_readings)
        ),
        flags=list(element.flags),
        is_own_level=is_own_level,
        reading_count=element.reading_count,
        table=_table_words(element),
        row_id=element.row_id,
        checked_words=checked.words if checked and not is_own_level else "",
        is_verified=is_own_level or checked is None or checked.is_verified,
        reason=element.reason,
    )


def _value_words(element: ElementAssessment) -> str:
    """Return the value with as many places as show on which side of its level it is."""
    if element.value is None:
        return ""
    level = None if element.level is None else Fraction(element.level)
    return decimal_words(Fraction(element.value), apart_from=level)


def _spread_words(element: ElementAssessment) -> str:
    """Return how sure the value is: ± U of a colour, the 95 % interval of a ratio."""
    if element.interval_low is not None:
        return interval_words(element.interval_low, element.interval_high)
    if element.expanded_uncertainty is None:
        return ""
    return f"± {uncertainty_words(element.expanded_uncertainty)}"


def _table_words(element: ElementAssessment) -> str:
    """Return where the level is printed; one of the agency's own is printed nowhere."""
    if element.table_id == AGENCY_LEVEL_TABLE:
        return "the agency's own level"
    if not element.table_id:
        return ""
    return find_table_source(element.table_id).published_table


def _bounds_words(assessment: Assessment) -> str:
    """Return between what the probability of the whole sign lies, or that of one colour."""
    low, high = assessment.probability_low, assessment.probability_high
    if low is None or high is None:
        return ""
    first, last = probability_words(low), probability_words(high)
    return first if first == last else f"{first} to {last}"
