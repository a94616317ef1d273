"""Since when a face is on record: what happened to faces before, nobody wrote down."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from django.db.models import F, Min

from inventory.models import Inspection, LogbookEntry, Sign, SourceFace
from inventory.services.forecast.gathering import middle_of

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from inventory.models import Organisation

DAYS_PER_YEAR = 365.25
_STEP = 2_000


class RecordedFace(NamedTuple):
    """A face of the agency's own: when it was put up, came on record, and came down."""

    sign_id: int
    sign_code: str
    put_up_on: date | None
    on_record_on: date | None
    removed_on: date | None
    reason: str
    road_class: str

    def age_years(self, day: date) -> float | None:
        """Return the age of the face on a day, 0 at least; nothing where it is not known."""
        if self.put_up_on is None:
            return None
        return max((day - self.put_up_on).days, 0) / DAYS_PER_YEAR


def recorded_faces(organisation: Organisation) -> Iterator[RecordedFace]:
    """
    Give the faces that the agency answers for, installed and taken down, in four queries.

    A face seen at its making is on record from the day it was put up. One entered from a list
    is from the first of: the import that made it, the logbook's entry of it, its first visit as
    it was recorded. One recorded twice is left out.
    """
    first = _first_days(organisation)
    rows = (
        Sign.objects.owned_by(organisation)
        .filter(responsible=Sign.Responsible.AGENCY)
        .exclude(state=Sign.State.IN_STOCK)
        .exclude(removal_reason=Sign.RemovalReason.DUPLICATE)
        .order_by("pk")
        .values_list(
            "pk",
            "sign_code",
            "installed_on",
            "installed_precision",
            "removed_on",
            "removal_reason",
            "is_reconstructed",
            "position__support__road__road_class",
        )
    )
    for pk, code, installed_on, precision, removed_on, reason, is_listed, road in rows.iterator(
        chunk_size=_STEP
    ):
        put_up_on = None if installed_on is None else middle_of(installed_on, precision)
        known = first.get(pk)
        if not is_listed and put_up_on is not None:
            known = put_up_on
        # A face is not on record before it is up.
        if known is not None and put_up_on is not None:
            known = max(known, put_up_on)
        yield RecordedFace(pk, code, put_up_on, known, removed_on, reason, road or "")


def _first_days(organisation: Organisation) -> dict[int, date]:
    """Return the first day that a face's being on record is witnessed."""
    imported = (
        SourceFace.objects.filter(
            record__organisation=organisation, position__signs__is_reconstructed=True
        )
        .order_by()
        .values_list("position__signs", "record__first_run__started_at")
    )
    logged = (
        LogbookEntry.objects.filter(
            organisation=organisation,
            sign__isnull=False,
            verb__in=("install sign", "add sign"),
        )
        .order_by()
        .values("sign")
        .annotate(first=Min("at"))
        .values_list("sign", "first")
    )
    visited = (
        Inspection.objects.filter(organisation=organisation, sign__owner=F("organisation"))
        .order_by()
        .values("sign")
        .annotate(first=Min("recorded_at"))
        .values_list("sign", "first")
    )
    first: dict[int, date] = {}
    for witnessed in (imported, logged, visited):
        for sign_id, moment in witnessed.iterator(chunk_size=_STEP):
            day = organisation.day_of(moment)
            first[sign_id] = min(day, first.get(sign_id, day))
    return first
