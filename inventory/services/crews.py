"""An agency's crews: where they start from, what they can do, when they work."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Crew, Membership, Organisation, WorkPackage
from inventory.services.fields import check_fields
from inventory.services.logbook import log

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import ScopedQuerySet, User

Skill = Crew.Skill
SHORTEST_SHIFT, LONGEST_SHIFT = 30, 960
MINUTES_A_DAY = 1440
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MOST_CREWS = 100
_FIELDS = (
    "name",
    "depot_name",
    "depot_latitude_deg",
    "depot_longitude_deg",
    "skills",
    "day_starts_minute",
    "shift_minutes",
    "weekdays",
    "person",
)


@transaction.atomic
def add_crew(
    *,
    organisation: Organisation,
    by: User | None = None,
    now: datetime | None = None,
    **fields: Any,
) -> Crew:
    """Add a crew to an agency; its name is there once."""
    agency = Organisation.objects.select_for_update().get(pk=organisation.pk)
    if Crew.objects.owned_by(agency).count() >= MOST_CREWS:
        msg = f"{agency} has {MOST_CREWS} crews, the most there can be; change one of them."
        raise OutOfRangeError(msg)
    crew = Crew(organisation=agency)
    _set(crew, fields)
    crew.save()
    _log(crew, by, "add crew", f"starts from {crew.depot_name}", now)
    return crew


@transaction.atomic
def change_crew(
    *, crew: Crew, by: User | None = None, now: datetime | None = None, **fields: Any
) -> Crew:
    """Change a crew; packages made before keep what they say."""
    Organisation.objects.select_for_update().get(pk=crew.organisation_id)
    locked: Crew = (
        Crew.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=crew.pk)
    )
    before = [getattr(locked, name) for name in _FIELDS]
    _set(locked, {name: getattr(locked, name) for name in _FIELDS} | fields)
    if before != [getattr(locked, name) for name in _FIELDS]:
        locked.save(update_fields=_FIELDS)
        _log(locked, by, "change crew", "changed", now)
    return locked


@transaction.atomic
def set_active(
    *, crew: Crew, is_active: bool, by: User | None = None, now: datetime | None = None
) -> Crew:
    """Take a crew out of planning, or back into it; its packages stay."""
    locked: Crew = (
        Crew.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=crew.pk)
    )
    if locked.is_active == is_active:
        return locked
    waiting = WorkPackage.objects.filter(team=locked).exclude(state=WorkPackage.State.CLOSED)
    count = waiting.count()
    if not is_active and count:
        msg = (
            f"'{locked}' still has {count} packages that are not closed; close them or take "
            "them back first."
        )
        raise StateConflictError(msg)
    locked.is_active = is_active
    locked.save(update_fields=["is_active"])
    words = "goes out again" if is_active else "goes out no more"
    _log(locked, by, "change crew", words, now)
    return locked


def crews_of(organisation: Organisation, *, active_only: bool = True) -> ScopedQuerySet:
    """Return an agency's crews by name."""
    rows = Crew.objects.owned_by(organisation).order_by("name", "pk")
    found: ScopedQuerySet = rows.filter(is_active=True) if active_only else rows
    return found


def _set(crew: Crew, fields: dict[str, Any]) -> None:
    """Set and check the fields of a crew."""
    for name in _FIELDS:
        if name in fields:
            setattr(crew, name, fields[name])
    crew.name, crew.depot_name = crew.name.strip(), crew.depot_name.strip()
    check_fields(crew, exclude=["organisation", "person", "skills"])
    _check_depot(crew)
    unknown = [each for each in crew.skills if each not in Skill.values]
    if unknown:
        msg = f"'{unknown[0]}' is no skill of a crew; use {', '.join(Skill.values)}."
        raise OutOfRangeError(msg)
    crew.skills = [each for each in Skill.values if each in crew.skills]
    if not 0 <= crew.day_starts_minute < MINUTES_A_DAY:
        msg = f"The shift starts at minute {crew.day_starts_minute}; a day has 0 to 1439."
        raise OutOfRangeError(msg)
    if not SHORTEST_SHIFT <= crew.shift_minutes <= LONGEST_SHIFT:
        msg = (
            f"The shift is {crew.shift_minutes} minutes long; give {SHORTEST_SHIFT} to "
            f"{LONGEST_SHIFT}."
        )
        raise OutOfRangeError(msg)
    crew.weekdays = "".join(each for each in "1234567" if each in crew.weekdays)
    if not crew.weekdays:
        msg = f"'{crew.name}' works on no day of the week; tick at least one."
        raise OutOfRangeError(msg)
    if (
        crew.person is not None
        and not Membership.objects.filter(
            user=crew.person, organisation=crew.organisation
        ).exists()
    ):
        msg = f"{crew.person} does not work for {crew.organisation}; pick one of its people."
        raise StateConflictError(msg)
    same = Crew.objects.owned_by(crew.organisation).filter(name=crew.name)
    if same.exclude(pk=crew.pk).exists():
        msg = f"There is a crew '{crew.name}' already; give this one another name."
        raise StateConflictError(msg)


def _check_depot(crew: Crew) -> None:
    for name, value, bound in (
        ("latitude", crew.depot_latitude_deg, 90),
        ("longitude", crew.depot_longitude_deg, 180),
    ):
        # A comparison with what is not a number is never true.
        if not -bound <= value <= bound:
            msg = f"The depot's {name} is {value:g}°; it is −{bound}° to {bound}°."
            raise OutOfRangeError(msg)


def _log(crew: Crew, by: User | None, verb: str, words: str, now: datetime | None) -> None:
    log(
        organisation=crew.organisation,
        actor=by,
        verb=verb,
        text=f"Crew '{crew.name}': {words}.",
        at=now or timezone.now(),
    )
