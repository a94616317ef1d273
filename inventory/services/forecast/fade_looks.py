"""When each face was last looked at, and when it was first seen faded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Max, Q

from inventory.models import Inspection, Observation, RelinkedInspection

if TYPE_CHECKING:
    from datetime import date

    from inventory.models import Organisation

_STEP = 2_000


@dataclass(frozen=True, slots=True)
class FadeLooks:
    """
    What was seen of the faces of an agency, by sign.

    ``faded_on`` is the day each was first seen moderately or severely faded, ``looked_on`` the
    day it was last looked at by eye.
    """

    faded_on: dict[int, date]
    looked_on: dict[int, date]

    def unfaded_on(self, sign_id: int) -> date | None:
        """Return when a face was last seen that had not faded; ``None``: not, or it has."""
        return None if sign_id in self.faded_on else self.looked_on.get(sign_id)


def fade_looks(organisation: Organisation) -> FadeLooks:
    """Return what was seen of an agency's faces; what was put right does not count."""
    kept_for = _kept_for(organisation)
    return FadeLooks(_faded(organisation, kept_for), _last_visits(organisation, kept_for))


def _faded(organisation: Organisation, kept_for: dict[int, int]) -> dict[int, date]:
    """Return when each sign was first seen faded; what was put right does not count."""
    seen = Observation.objects.filter(
        kind=Observation.Kind.FADED,
        severity__gte=Observation.Severity.MODERATE,
        inspection__organisation=organisation,
        inspection__corrections__isnull=True,
    ).order_by("inspection__taken_at", "pk")
    first: dict[int, date] = {}
    for visit, sign_id, taken_at in seen.values_list(
        "inspection", "inspection__sign", "inspection__taken_at"
    ).iterator(chunk_size=_STEP):
        first.setdefault(kept_for.get(visit, sign_id), organisation.day_of(taken_at))
    return first


def _last_visits(organisation: Organisation, kept_for: dict[int, int]) -> dict[int, date]:
    """Return when each sign was last looked at by eye."""
    visits = Inspection.objects.filter(
        Q(observations__isnull=False) | Q(how=Inspection.How.VISUAL_DAY),
        organisation=organisation,
        corrections__isnull=True,
    ).order_by()
    last = {
        sign_id: organisation.day_of(moment)
        for sign_id, moment in visits.values("sign")
        .annotate(last=Max("taken_at"))
        .values_list("sign", "last")
        .iterator(chunk_size=_STEP)
    }
    for visit, taken_at in (
        visits.filter(pk__in=list(kept_for)).values_list("pk", "taken_at") if kept_for else ()
    ):
        day = organisation.day_of(taken_at)
        last[kept_for[visit]] = max(day, last.get(kept_for[visit], day))
    return last


def _kept_for(organisation: Organisation) -> dict[int, int]:
    """Return the visits that count for another sign by a merge, and for which."""
    rows = RelinkedInspection.objects.owned_by(organisation).filter(merge__undo__isnull=True)
    return dict(rows.order_by("pk").values_list("inspection_id", "sign_id"))
