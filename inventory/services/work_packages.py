"""Work packages: stops put together at the desk, handed to a crew, and what came of them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import OuterRef, Subquery

from inventory.models import StopResult, WorkPackage

if TYPE_CHECKING:
    from inventory.models import Organisation, ScopedQuerySet


def with_outcome(stops: ScopedQuerySet) -> ScopedQuerySet:
    """Return stops, each with the outcome a crew gave last; ``None`` while there is none."""
    newest = StopResult.objects.filter(stop=OuterRef("pk")).order_by("-recorded_at", "-pk")
    annotated: ScopedQuerySet = stops.annotate(outcome=Subquery(newest.values("outcome")[:1]))
    return annotated


def handed_out(organisation: Organisation) -> ScopedQuerySet:
    """Return the packages that are with a crew, the newest day first."""
    return WorkPackage.objects.owned_by(organisation).filter(state=WorkPackage.State.HANDED_OUT)
