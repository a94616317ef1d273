"""Crew days that were looked at become work packages in the order of their tours."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

from inventory.errors import StateConflictError
from inventory.models import (
    CrewPlan,
    Organisation,
    PackageStop,
    PlannedDay,
    PlannedStop,
    Sign,
    StopResult,
    WorkPackage,
)
from inventory.services.logbook import log
from inventory.services.ordering.stock_matching import stock_for
from inventory.services.programme.crew_tours import crews_packages
from inventory.services.programme.material import bring_words, material_of
from inventory.services.programme.pool import NEW_FACE_TASKS, OPEN_STATES
from inventory.services.work_packages import (
    MOST_STOPS,
    Tour,
    WantedStop,
    close_package,
    hand_out,
    make_package,
    remove_stops,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date, datetime

    from inventory.models import ScopedQuerySet, User

FEW = 3
_IS_TO_REPLACE = Q(task=PackageStop.Task.REPLACE)
_IS_UP = Q(planned__sign__state=Sign.State.INSTALLED)
_HAS_FACE = Exists(
    Sign.objects.filter(position=OuterRef("position"), state=Sign.State.INSTALLED)
)


@transaction.atomic
def make_packages(
    *,
    plan: CrewPlan,
    is_handed_out: bool = True,
    by: User | None = None,
    now: datetime | None = None,
) -> list[WorkPackage]:
    """
    Make a package of each crew day, in the order of its tour, and hand them out.

    Done once: whoever comes second is refused, and so is a plan of which work was taken up or
    done meanwhile. Stops taken from packages still being put together leave these.
    """
    now = now or timezone.now()
    agency_id = plan.programme.organisation_id
    # Whoever makes packages of the agency's work waits here, so that none is sent out twice.
    Organisation.objects.select_for_update().get(pk=agency_id)
    locked: CrewPlan | None = (
        CrewPlan.objects.select_for_update(of=("self",))
        .select_related("programme__organisation", "packages_made_by")
        .filter(pk=plan.pk)
        .first()
    )
    _check(locked)
    assert locked is not None  # noqa: S101 - checked just above
    stops = _stops_of(locked)
    _check_still_so(locked, stops)
    _name_faces_anew(locked, stops, now)
    taken = _take_out_of_drafts(stops)
    packages = [
        package
        for day, of_day in groupby(stops, key=lambda each: each.day)
        for package in _packages_of(locked, day, list(of_day), by, now)
    ]
    for package in taken:
        if not package.stops.exists():
            close_package(package=package, by=by, now=now)
    if is_handed_out:
        packages = [hand_out(package=each, by=by, now=now) for each in packages]
    locked.packages_made_at, locked.packages_made_by = now, by
    locked.save(update_fields=["packages_made_at", "packages_made_by"])
    log(
        organisation=locked.programme.organisation,
        actor=by,
        verb="make packages",
        text=(
            f"{len(packages)} packages with {len(stops)} stops made of the crew days of "
            f"'{locked.programme.name}' in {locked.year}."
        ),
        at=now,
    )
    return packages


@transaction.atomic
def withdraw_packages(
    *, plan: CrewPlan, by: User | None = None, now: datetime | None = None
) -> tuple[int, int]:
    """
    Withdraw the packages made of crew days; their work is to do again.

    Those of which a crew recorded something stay. Returns how many were withdrawn and how many
    stay.
    """
    now = now or timezone.now()
    Organisation.objects.select_for_update().get(pk=plan.programme.organisation_id)
    waiting, begun = 0, 0
    for package in packages_of(plan).exclude(state=WorkPackage.State.CLOSED):
        WorkPackage.objects.select_for_update().get(pk=package.pk)
        if StopResult.objects.filter(stop__package=package).exists():
            begun += 1
            continue
        close_package(package=package, by=by, now=now)
        waiting += 1
    if not waiting:
        msg = (
            "No package of these crew days can be withdrawn: their crews have begun them, or "
            "they are closed."
        )
        raise StateConflictError(msg)
    log(
        organisation=plan.programme.organisation,
        actor=by,
        verb="withdraw packages",
        text=(
            f"{waiting} packages of the crew days of '{plan.programme.name}' in {plan.year} "
            f"withdrawn; {begun} stay, since their crews have begun."
        ),
        at=now,
    )
    return waiting, begun


def packages_of(plan: CrewPlan) -> ScopedQuerySet:
    """Return the packages that were made of a plan, by day and crew."""
    days = PlannedDay.objects.filter(
        plan=plan, crew=OuterRef("team"), work_on=OuterRef("work_on")
    )
    if plan.packages_made_at is None:
        none: ScopedQuerySet = WorkPackage.objects.none()
        return none
    rows: ScopedQuerySet = WorkPackage.objects.filter(
        Exists(days), programme=plan.programme_id, made_at=plan.packages_made_at
    ).order_by("work_on", "team__name", "pk")
    return rows


def day_words(day: date) -> str:
    """Return a day as a package is called by it."""
    return f"{day:%a} {day.day} {day:%b %Y}"


def _stops_of(plan: CrewPlan) -> list[PlannedStop]:
    rows = PlannedStop.objects.filter(plan=plan, day__isnull=False)
    return list(
        rows.select_related(
            "day__crew__person",
            "position__support__road",
            "position__organisation",
            "planned",
            "face",
            "taken_from__package",
        ).order_by("day__number", "number")
    )


def _packages_of(
    plan: CrewPlan,
    day: PlannedDay | None,
    stops: Sequence[PlannedStop],
    by: User | None,
    now: datetime,
) -> list[WorkPackage]:
    """Make the package of a day; over 300 stops it is in parts."""
    assert day is not None  # noqa: S101 - stops without a day are left out by the query
    parts = [stops[at : at + MOST_STOPS] for at in range(0, len(stops), MOST_STOPS)]
    made = []
    for number, part in enumerate(parts, start=1):
        which = f", part {number} of {len(parts)}" if len(parts) > 1 else ""
        made.append(
            make_package(
                organisation=plan.programme.organisation,
                title=f"{day.crew.name}, {day_words(day.work_on)}{which}",
                work_on=day.work_on,
                crew=day.crew.person,
                bring=bring_words(material_of(part)),
                stops=[
                    WantedStop(
                        each.position,
                        each.task,
                        each.note,
                        planned=each.planned,
                        face=each.face,
                        arrive_minute=each.arrive_minute,
                        service_minutes=each.service_minutes,
                    )
                    for each in part
                ],
                tour=Tour(
                    day.crew, plan.programme, day.leave_minute, day.minutes, day.drive_mi
                ),
                by=by,
                now=now,
            )
        )
    day.package = made[0]
    day.save(update_fields=["package"])
    return made


def _name_faces_anew(plan: CrewPlan, stops: Sequence[PlannedStop], now: datetime) -> None:
    """
    Name the faces to bring as they are now.

    One that was named when the days were planned may be spoilt, up, or kept for another place.
    """
    wanted = [each for each in stops if each.task in NEW_FACE_TASKS]
    if not wanted:
        return
    faces = stock_for(
        organisation=plan.programme.organisation,
        positions=list({each.position_id: each.position for each in wanted}.values()),
        now=now,
    )
    for each in wanted:
        each.face = faces.get(each.position_id)


def _take_out_of_drafts(stops: Sequence[PlannedStop]) -> list[WorkPackage]:
    """Take the stops that were chosen at the desk out of their packages; return these."""
    taken: dict[int, tuple[WorkPackage, list[int]]] = {}
    for each in stops:
        stop = each.taken_from
        if each.source == PlannedStop.Source.CHOSEN and stop is not None:
            taken.setdefault(stop.package_id, (stop.package, []))[1].append(stop.pk)
    for package, keys in taken.values():
        remove_stops(package=package, stops=keys)
    return [package for package, _keys in taken.values()]


def _check(plan: CrewPlan | None) -> None:
    if plan is None:
        msg = (
            "These crew days were planned anew meanwhile and are gone; look at the new ones, "
            "then make packages of them."
        )
        raise StateConflictError(msg)
    if plan.packages_made_at is not None:
        agency = plan.programme.organisation
        who = f" by {plan.packages_made_by}" if plan.packages_made_by else ""
        msg = (
            f"Packages were already made of these crew days{who}, "
            f"{agency.clock_words(plan.packages_made_at)}; they are in the list of packages."
        )
        raise StateConflictError(msg)
    if plan.finished_at is None:
        msg = "These crew days are still being planned; wait until they are, and look at them."
        raise StateConflictError(msg)
    if plan.error or not plan.days.exists():
        msg = "There is no crew day in this plan to make a package of; plan again."
        raise StateConflictError(msg)


def _check_still_so(plan: CrewPlan, stops: Sequence[PlannedStop]) -> None:
    """Refuse a plan of which a part was taken up, done, or cannot be done any more."""
    agency = plan.programme.organisation
    drafts = [
        each.taken_from.package_id
        for each in stops
        if each.source == PlannedStop.Source.CHOSEN and each.taken_from is not None
    ]
    rows = PlannedStop.objects.filter(plan=plan, day__isnull=False)
    gone = rows.filter(
        Q(Exists(_open_elsewhere(drafts).filter(task=OuterRef("task"))))
        # A new face goes up once, whether it replaces one or finds none.
        | Q(Exists(_open_elsewhere(drafts).filter(task__in=NEW_FACE_TASKS)))
        & Q(task__in=NEW_FACE_TASKS)
        | Q(planned__isnull=False) & (_IS_TO_REPLACE & ~_IS_UP | ~_IS_TO_REPLACE & _HAS_FACE)
        | Q(source=PlannedStop.Source.CHOSEN, taken_from__isnull=True)
        | Q(position__is_retired=True)
    )
    places = list(gone.select_related("position__support").order_by("day__number", "number"))
    if places:
        named = "; ".join(str(each.position) for each in places[:FEW])
        more = f" and {len(places) - FEW} more" if len(places) > FEW else ""
        msg = (
            f"{len(places)} of the stops are done, given up or in another package meanwhile "
            f"({named}{more}); plan the crew days again."
        )
        raise StateConflictError(msg)
    busy = crews_packages(WorkPackage.objects.owned_by(agency)).filter(
        Exists(
            PlannedDay.objects.filter(
                plan=plan, crew=OuterRef("team"), work_on=OuterRef("work_on")
            )
        )
    )
    first = busy.select_related("team").order_by("work_on", "pk").first()
    if first is not None:
        msg = (
            f"{first.team} has the package '{first.title}' on {first.work_on:%Y-%m-%d} "
            "meanwhile; plan the crew days again."
        )
        raise StateConflictError(msg)


def _open_elsewhere(drafts: Sequence[int]) -> ScopedQuerySet:
    """Return the stops of other open packages at a place, of which nothing was said."""
    rows: ScopedQuerySet = (
        PackageStop.objects.filter(
            position=OuterRef("position"),
            package__state__in=OPEN_STATES,
        )
        .exclude(package__in=drafts)
        .filter(~Exists(StopResult.objects.filter(stop=OuterRef("pk"))))
    )
    return rows
