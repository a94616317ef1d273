"""How a sign stands, as one of nine marks: each its own shape, word and colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.engineering.assessment.vocabulary import Verdict

if TYPE_CHECKING:
    from inventory.models import Standing


@dataclass(frozen=True)
class Mark:
    """A mark: its key names the drawing and the colour, its word is what people read."""

    key: str
    word: str

    @classmethod
    def of(cls, word: str) -> Mark:
        """Return the mark of a word; its key is the word with hyphens."""
        return cls(word.replace(" ", "-"), word)


DUE = Mark.of("due")
DUE_SOON = Mark.of("due soon")
MARK_OF_VERDICT = {verdict: Mark.of(verdict.value) for verdict in Verdict}
MARKS = (
    MARK_OF_VERDICT[Verdict.MEETS],
    DUE_SOON,
    DUE,
    *(MARK_OF_VERDICT[verdict] for verdict in Verdict if verdict is not Verdict.MEETS),
)


def mark_of(verdict: str, *, is_due: bool = False, is_due_soon: bool = False) -> Mark:
    """Return the mark of a verdict; one that meets its level may be due, or due soon."""
    known = Verdict(verdict)
    if known is Verdict.MEETS and is_due:
        return DUE
    if known is Verdict.MEETS and is_due_soon:
        return DUE_SOON
    return MARK_OF_VERDICT[known]


def mark_of_standing(standing: Standing) -> Mark:
    """Return the mark of a sign as it stands now."""
    return mark_of(standing.verdict, is_due=standing.is_due, is_due_soon=standing.is_due_soon)
