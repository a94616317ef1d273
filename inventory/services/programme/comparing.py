"""What differs between two programmes: asked of the database, a page at a time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, F, OuterRef, Q, Subquery

from inventory.models import PlannedReplacement

if TYPE_CHECKING:
    from django.db.models import QuerySet

    from inventory.models import Programme


@dataclass(frozen=True)
class ChangeCounts:
    """How many positions are added, moved to another year, and taken out."""

    added: int
    moved: int
    taken_out: int

    @property
    def total(self) -> int:
        """Return how many differ."""
        return self.added + self.moved + self.taken_out


def changes_between(before: Programme, after: Programme) -> QuerySet[Any]:
    """
    Return the planned replacements whose year differs, with ``year_before`` and ``year_after``.

    A row of the later programme where it names the position, else of the earlier one.
    """
    both = PlannedReplacement.objects.filter(programme__in=(before, after))
    there = PlannedReplacement.objects.filter(position=OuterRef("position"))
    is_after = Q(programme=after)
    rows = both.annotate(
        year_before=_year_in(before, there),
        year_after=_year_in(after, there),
        in_after=Exists(there.filter(programme=after)),
    ).filter(is_after | Q(in_after=False))
    differs = (
        ~Q(year_before=F("year_after"))
        & Q(year_before__isnull=False)
        & Q(year_after__isnull=False)
    )
    added = Q(year_before__isnull=True, year_after__isnull=False)
    taken_out = Q(year_before__isnull=False, year_after__isnull=True)
    found: QuerySet[Any] = (
        rows.filter(differs | added | taken_out)
        .select_related("position__support__road")
        .order_by("safety_class", "position")
    )
    return found


def count_changes(before: Programme, after: Programme) -> ChangeCounts:
    """Return how many positions differ, in which way."""
    found = changes_between(before, after).aggregate(
        added=Count("pk", filter=Q(year_before__isnull=True)),
        taken_out=Count("pk", filter=Q(year_after__isnull=True)),
        moved=Count("pk", filter=Q(year_before__isnull=False, year_after__isnull=False)),
    )
    return ChangeCounts(found["added"], found["moved"], found["taken_out"])


def _year_in(programme: Programme, there: QuerySet[Any]) -> Subquery:
    return Subquery(there.filter(programme=programme).values("year")[:1])
