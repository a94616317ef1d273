"""Why a sign has the year it has, in words."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from inventory.engineering.programme.problem import NOT_PLANNED
from inventory.models import PlannedReplacement
from inventory.services.programme.gathering import CLASS_1

if TYPE_CHECKING:
    from inventory.models import Programme
    from inventory.services.programme.making import ProgrammeFrame

LOCKED = "locked by a person"
_LONGEST = PlannedReplacement._meta.get_field("reason").max_length or 0


def locked_words(year: int | None, must_by_year: int | None) -> str:
    """Return that a choice is locked, and what it goes against."""
    if must_by_year is not None and (year is None or year > must_by_year):
        return f"{LOCKED}, though it must be replaced by {must_by_year}"
    return LOCKED


class Reasons:
    """The reasons of a plan's years."""

    def __init__(self, frame: ProgrammeFrame, programme: Programme) -> None:
        self.frame = frame
        self.first_year = programme.first_year

    def of(self, place: int, year: int, *, is_locked: bool) -> str:
        """Return why the position at a place has its year of the programme, or none."""
        return self._words(place, year, is_locked=is_locked)[:_LONGEST]

    def _words(self, place: int, year: int, *, is_locked: bool) -> str:
        frame, problem = self.frame, self.frame.problem
        must = int(problem.must_by[place])
        if is_locked:
            words = locked_words(
                None if year == NOT_PLANNED else self.first_year + year,
                None if must < 0 else self.first_year + must,
            )
            is_past = year != NOT_PLANNED and year < frame.past_years
            return f"{words}; that year is past" if is_past else words
        if must >= 0 and (year == NOT_PLANNED or year > must):
            why = frame.must_why[place]
            return f"must be replaced by {self.first_year + must} ({why}); money or hours lack"
        if year == NOT_PLANNED:
            if not problem.is_allowed[place].any():
                return "it was decided to wait beyond these years"
            if float(problem.value[place].max()) <= 0:
                return "a new face would not be safer within these years"
            return "others take away more risk for the money"
        due_on = frame.due_on[place]
        if must >= 0:
            return self._must_words(place, due_on)
        if frame.risk.condition[place] > 0:
            return "damaged, and worth it for the risk it takes away"
        if due_on is not None:
            return f"due about {due_on:%B %Y}"
        return "worth it for the risk it takes away"

    def _must_words(self, place: int, due_on: date | None) -> str:
        why = self.frame.must_why[place]
        if why != CLASS_1 or due_on is None:
            return why
        if due_on < date(self.first_year, 1, 1):
            return f"class 1, due since {due_on:%B %Y}"
        return f"class 1, before it is due in {due_on:%B %Y}"
