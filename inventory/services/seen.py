"""What was seen on signs, by day and by night, and when they were visited last."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Max

from inventory.engineering.inspection.condition import Condition, Observed, find_condition
from inventory.engineering.inspection.vocabulary import Severity
from inventory.models import Inspection, Observation, VisualRating
from inventory.services.damage_standing import damage_looks
from inventory.services.relinks import counts_for, relinked_to

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime


@dataclass(frozen=True, slots=True)
class Seen:
    """What is on record about one sign beside its readings."""

    condition: Condition
    inadequate_at: datetime | None
    last_inspected_at: datetime | None


def seen_on(sign_ids: Sequence[int], read_at: dict[int, datetime | None]) -> dict[int, Seen]:
    """
    Return what was seen on each sign, inspections that another corrects left out.

    ``read_at`` is when the readings were taken that each sign is judged by.
    """
    relinked = relinked_to(sign_ids)
    observed = observed_on(sign_ids, relinked)
    rated: dict[int, tuple[datetime, bool]] = {}
    ratings = VisualRating.objects.filter(
        counts_for(sign_ids, relinked, "inspection__"), inspection__corrections__isnull=True
    )
    for visit, sign_id, is_adequate, taken_at in ratings.order_by(
        "inspection__taken_at", "pk"
    ).values_list(
        "inspection_id", "inspection__sign_id", "is_adequate", "inspection__taken_at"
    ):
        rated[relinked.get(visit, sign_id)] = (taken_at, is_adequate)
    visited: dict[int, datetime] = dict(
        Inspection.objects.filter(sign__in=sign_ids, corrections__isnull=True)
        .order_by()
        .values("sign")
        .annotate(last=Max("taken_at"))
        .values_list("sign", "last")
    )
    elsewhere = Inspection.objects.filter(pk__in=list(relinked), corrections__isnull=True)
    for visit, taken_at in elsewhere.values_list("pk", "taken_at") if relinked else ():
        kept = relinked[visit]
        visited[kept] = max(visited.get(kept, taken_at), taken_at)
    return {
        sign_id: Seen(
            find_condition(observed[sign_id]),
            _inadequate_at(rated.get(sign_id), read_at[sign_id]),
            visited.get(sign_id),
        )
        for sign_id in sign_ids
    }


def observed_on(
    sign_ids: Sequence[int], relinked: dict[int, int] | None = None
) -> dict[int, list[Observed]]:
    """
    Return everything seen on each sign, inspections that another corrects left out.

    What was told of at the desk counts as seen, and what was put right as found gone.
    ``relinked`` are the inspections that count for the signs through a merge, where known.
    """
    relinked = relinked_to(sign_ids) if relinked is None else relinked
    observed: dict[int, list[Observed]] = defaultdict(list)
    observations = Observation.objects.filter(
        counts_for(sign_ids, relinked, "inspection__"), inspection__corrections__isnull=True
    )
    for visit, sign_id, kind, severity, taken_at, notified_at in observations.values_list(
        "inspection_id",
        "inspection__sign_id",
        "kind",
        "severity",
        "inspection__taken_at",
        "inspection__recorded_at",
    ):
        words = Observation.Kind(kind).label
        observed[relinked.get(visit, sign_id)].append(
            Observed(kind, Severity(severity), words, taken_at, notified_at)
        )
    for sign_id, looks in damage_looks(sign_ids).items():
        observed[sign_id] += looks
    return observed


def _inadequate_at(
    rated: tuple[datetime, bool] | None, read_at: datetime | None
) -> datetime | None:
    """Return when a night inspection found a sign not adequate, if not measured since."""
    if rated is None or rated[1]:
        return None
    measured_since = read_at is not None and read_at > rated[0]
    return None if measured_since else rated[0]
