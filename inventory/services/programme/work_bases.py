"""What replacing costs an agency and how long it takes: set in versions, never changed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from django.db import models, transaction
from django.db.models import Max
from django.utils import timezone

from inventory.engineering.programme.risk import ClassWeights
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Organisation, WorkBasis
from inventory.services.fields import check_fields
from inventory.services.logbook import log

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import User

MOST_LEAD_DAYS = 730
_AT_LEAST = {"stretch_mi": 0.1, "detour_factor": 1.0, "speed_mi_per_h": 1.0}
_NUMBERS = (
    "face_price",
    "face_price_per_ft2",
    "crew_price_per_h",
    "face_hours",
    "face_hours_per_ft2",
    "support_hours",
    "stretch_hours",
    "stretch_mi",
    "read_minutes",
    "look_minutes",
    "detour_factor",
    "speed_mi_per_h",
)
_ALL = (*_NUMBERS, "lead_days", "hours_by_support", "class_weights", "currency")
_DEFAULTS = {field.name: field.default for field in WorkBasis._meta.fields}
_NEEDED = tuple(
    name for name in _ALL if _DEFAULTS[name] is models.NOT_PROVIDED and name != "class_weights"
)


@transaction.atomic
def set_work_basis(
    *,
    agency: Organisation,
    effective_on: date,
    basis: str,
    class_weights: list[float] | None = None,
    by: User | None = None,
    now: datetime | None = None,
    **figures: Any,
) -> WorkBasis:
    """Give an agency its next version of what work costs and takes; earlier ones stay."""
    now = now or timezone.now()
    Organisation.objects.select_for_update().get(pk=agency.pk)
    last = WorkBasis.objects.owned_by(agency).aggregate(n=Max("version"))["n"]
    weights = ClassWeights() if class_weights is None else ClassWeights(tuple(class_weights))
    made = WorkBasis(
        organisation=agency,
        version=(last or 0) + 1,
        effective_on=effective_on,
        recorded_at=now,
        recorded_by=by,
        basis=basis.strip(),
        class_weights=list(weights.by_class),
        **figures,
    )
    _check(made)
    made.save()
    log(
        organisation=agency,
        actor=by,
        verb="set work basis",
        text=(
            f"What work costs and takes, version {made.version}, in force from "
            f"{effective_on:%Y-%m-%d}."
        ),
        at=now,
    )
    return made


def work_basis_at(agency: Organisation, day: date) -> WorkBasis:
    """Return what holds on a day."""
    found = find_work_basis(agency, day)
    if found is None:
        msg = (
            f"{agency} has not said what work costs and takes on {day:%Y-%m-%d}; set it first "
            "(the page 'What work costs')."
        )
        raise StateConflictError(msg)
    return found


def find_work_basis(agency: Organisation, day: date) -> WorkBasis | None:
    """Return what holds on a day, or nothing where the agency has not said."""
    held = WorkBasis.objects.owned_by(agency).filter(effective_on__lte=day)
    return held.order_by("-effective_on", "-version").first()


def figures_of(basis: WorkBasis) -> dict[str, Any]:
    """Return the figures of a version by their names, to make the next one from."""
    return {name: getattr(basis, name) for name in _ALL}


def missing_figures(figures: dict[str, Any]) -> list[str]:
    """Return the names of figures that have to be given and are not."""
    return [name for name in _NEEDED if figures.get(name) is None]


def changed_figures(before: WorkBasis, after: WorkBasis) -> list[tuple[str, Any, Any]]:
    """Return what is other in a later version: the name, and the figure before and after."""
    return [
        (name, getattr(before, name), getattr(after, name))
        for name in _ALL
        if getattr(before, name) != getattr(after, name)
    ]


def _check(made: WorkBasis) -> None:
    """Refuse what cannot be, in a sentence."""
    check_fields(made, exclude=["organisation", "recorded_by", "hours_by_support"])
    for name in _NUMBERS:
        value, least = getattr(made, name), _AT_LEAST.get(name, 0.0)
        if not math.isfinite(value) or value < least:
            msg = f"The figure '{_words(name)}' is {value:g}; it is {least:g} or more."
            raise OutOfRangeError(msg)
    if made.lead_days > MOST_LEAD_DAYS:
        msg = (
            f"The lead time is {made.lead_days} days; it is at most {MOST_LEAD_DAYS}, since a "
            "face is ordered in the programme's own years."
        )
        raise OutOfRangeError(msg)
    for kind, hours in made.hours_by_support.items():
        is_number = isinstance(hours, (int, float)) and not isinstance(hours, bool)
        if not is_number or not math.isfinite(hours) or hours < 0:
            msg = (
                f"The hours added for a support '{kind}' are {hours!r}; give hours, 0 or more."
            )
            raise OutOfRangeError(msg)
    if not made.face_price + made.face_price_per_ft2 + made.crew_price_per_h > 0:
        msg = "A face and its crew cost nothing; give at least one price over 0."
        raise OutOfRangeError(msg)


def _words(name: str) -> str:
    return name.replace("_", " ")
