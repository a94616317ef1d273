"""The answer at the head of a sign's page: a word, a number against its level, and why."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from inventory.engineering.inspection.readings import decimal_words
from inventory.engineering.standards.tables import find_table_source
from inventory.engineering.standards.vocabulary import Checked, Edition
from inventory.models import ElementAssessment
from inventory.web.marks import Mark, mark_of, mark_of_standing
from inventory.web.numbers import plain

if TYPE_CHECKING:
    from inventory.services.sign_record import SignRecord


@dataclass(frozen=True)
class Judged:
    """One colour or contrast as the page shows it, with where its level is printed."""

    name: str
    mark: Mark
    value: str
    level: str
    unit: str
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
    )


def judged(element: ElementAssessment) -> Judged:
    """Return one stored element in words and figures."""
    is_contrast = element.kind == ElementAssessment.Kind.CONTRAST
    checked = Checked(element.checked) if element.checked else None
    return Judged(
        name=f"contrast {element.color}" if is_contrast else element.color,
        mark=mark_of(element.verdict),
        value=_value_words(element),
        level="" if element.level is None else plain(element.level),
        unit="to 1" if is_contrast else "cd/lx/m²",
        reading_count=element.reading_count,
        table=find_table_source(element.table_id).published_table if element.table_id else "",
        row_id=element.row_id,
        checked_words=checked.words if checked else "",
        is_verified=checked is None or checked.is_verified,
        reason=element.reason,
    )


def _value_words(element: ElementAssessment) -> str:
    """Return the value with as many places as show on which side of its level it is."""
    if element.value is None:
        return ""
    level = None if element.level is None else Fraction(element.level)
    return decimal_words(Fraction(element.value), apart_from=level)
