"""Work packages: stops put together at the desk, handed to a crew, and what came of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db import IntegrityError, transaction
from django.db.models import F, Max, OuterRef, Q, Subquery
from django.utils import timezone

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.programme.walk import nearest_neighbour_order
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import (
    Membership,
    PackageStop,
    Position,
    Role,
    Standing,
    StopResult,
    WorkPackage,
)
from inventory.services.fields import check_fields
from inventory.services.logbook import log

if TYPE_CHECKING:
    import uuid
    from collections.abc import Iterable, Sequence
    from datetime import date, datetime

    from inventory.models import (
        Crew,
        Organisation,
        PlannedReplacement,
        Programme,
        ScopedQuerySet,
        Sign,
        User,
    )

State, Task, Outcome = WorkPackage.State, PackageStop.Task, StopResult.Outcome
MOST_STOPS = 300
LONGEST_REASON = StopResult._meta.get_field("reason").max_length or 0
_ASIDE = 1_000_000  # where numbers go while an order is changed: each is there only once


@dataclass(frozen=True)
class WantedStop:
    """
    A place to stop at, what to do there, and a word for the crew.

    On a planned tour also what of the programme it is, the face to bring, when work begins (in
    minutes of the day) and how long it takes.
    """

    position: Position
    task: str
    note: str = ""
    planned: PlannedReplacement | None = None
    face: Sign | None = None
    arrive_minute: int | None = None
    service_minutes: float | None = None


@dataclass(frozen=True)
class Tour:
    """A crew's day as planned; the stops of its package keep the order they are given in."""

    team: Crew
    programme: Programme
    leave_minute: int
    minutes: int
    drive_mi: float


@dataclass(frozen=True)
class Progress:
    """How many stops a package has, and what the crew said of them."""

    stops: int = 0
    done: int = 0
    not_done: int = 0

    @property
    def open(self) -> int:
        """Return of how many nothing was said yet."""
        return self.stops - self.done - self.not_done


def with_outcome(stops: ScopedQuerySet) -> ScopedQuerySet:
    """Return stops, each with the outcome a crew gave last and why; ``None`` without one."""
    newest = StopResult.objects.filter(stop=OuterRef("pk")).order_by("-recorded_at", "-pk")
    annotated: ScopedQuerySet = stops.annotate(
        outcome=Subquery(newest.values("outcome")[:1]),
        outcome_reason=Subquery(newest.values("reason")[:1]),
        outcome_at=Subquery(newest.values("happened_at")[:1]),
    )
    return annotated


def handed_out(organisation: Organisation) -> ScopedQuerySet:
    """Return the packages that are with a crew, the newest day first."""
    return WorkPackage.objects.owned_by(organisation).filter(state=WorkPackage.State.HANDED_OUT)


def progress_of(packages: Iterable[WorkPackage]) -> dict[int, Progress]:
    """Return how far each of some packages is, in one query."""
    keys = [each.pk for each in packages]
    outcomes: dict[int, list[str | None]] = {key: [] for key in keys}
    stops = with_outcome(PackageStop.objects.filter(package__in=keys)).order_by()
    for package_id, outcome in stops.values_list("package", "outcome"):
        outcomes[package_id].append(outcome)
    return {
        key: Progress(len(said), said.count(Outcome.DONE), said.count(Outcome.NOT_DONE))
        for key, said in outcomes.items()
    }


def left_over(package: WorkPackage) -> ScopedQuerySet:
    """Return the stops that were not done, or of which nothing was said, in their order."""
    rows: ScopedQuerySet = (
        with_outcome(PackageStop.objects.filter(package=package))
        .filter(Q(outcome__isnull=True) | Q(outcome=Outcome.NOT_DONE))
        .order_by("number")
    )
    return rows


def suggest_task(position: Position, standing: Standing | None) -> str:
    """Return the task that what is on record suggests; the engineer has the last word."""
    if standing is None:
        return Task.INSTALL
    if standing.verdict in (Verdict.BELOW.value, Verdict.SHEETING_NOT_ALLOWED.value):
        return Task.REPLACE
    if standing.condition >= Standing.Condition.MODERATE:
        return Task.REPAIR
    return Task.READ


@transaction.atomic
def make_package(
    *,
    organisation: Organisation,
    title: str,
    work_on: date,
    stops: Sequence[WantedStop],
    crew: User | None = None,
    bring: str = "",
    tour: Tour | None = None,
    by: User | None = None,
    now: datetime | None = None,
) -> WorkPackage:
    """
    Put a package together; its stops begin in the order of a walk to the nearest left.

    With a tour they stay in the order they are given in.
    """
    now = now or timezone.now()
    package = WorkPackage(organisation=organisation, made_at=now, made_by=by, state=State.DRAFT)
    _set_words(package, title, work_on, crew, bring)
    if tour is not None:
        _set_tour(package, tour)
    package.save()
    _add(package, stops)
    if tour is None:
        _walk(package)
    _log(package, by, "put package together", f"with {len(stops)} stops", now)
    return package


@transaction.atomic
def set_package(
    *,
    package: WorkPackage,
    title: str,
    work_on: date,
    crew: User | None,
    bring: str,
    by: User | None = None,
    now: datetime | None = None,
) -> WorkPackage:
    """Change what a package is called, for which day and crew it is, and what to bring."""
    locked = _lock(package, State.DRAFT, State.HANDED_OUT)
    before = (locked.title, locked.work_on, locked.crew_id, locked.bring)
    _set_words(locked, title, work_on, crew, bring)
    if before != (locked.title, locked.work_on, locked.crew_id, locked.bring):
        locked.save(update_fields=["title", "work_on", "crew", "bring"])
        for_whom = crew or "any crew"
        _log(locked, by, "change package", f"for {work_on:%Y-%m-%d}, {for_whom}", now)
    return locked


@transaction.atomic
def add_stops(
    *,
    package: WorkPackage,
    stops: Sequence[WantedStop],
    by: User | None = None,
    now: datetime | None = None,
) -> WorkPackage:
    """Add stops at the end; a place that is a stop for the same task already is left out."""
    locked = _lock(package, State.DRAFT)
    known = set(locked.stops.values_list("position", "task"))
    new = [each for each in stops if (each.position.pk, str(each.task)) not in known]
    _add(locked, new)
    if new:
        _forget_times(locked)
        _log(locked, by, "add stops", f"{len(new)} stops added", now)
    return locked


@transaction.atomic
def set_stop(
    *, stop: PackageStop, task: str, note: str, number: int | None = None
) -> PackageStop:
    """Change what is to be done at a stop of a draft, or which number it has."""
    package = _lock(stop.package, State.DRAFT)
    locked = PackageStop.objects.get(pk=stop.pk)
    locked.task, locked.note = _task(task), note.strip()
    check_fields(locked, exclude=["package", "position"])
    locked.save(update_fields=["task", "note"])
    if number is not None and number != locked.number:
        order = list(package.stops.order_by("number").values_list("pk", flat=True))
        if not 1 <= number <= len(order):
            msg = (
                f"There is no place {number} in this package; its stops are 1 to {len(order)}."
            )
            raise OutOfRangeError(msg)
        order.remove(locked.pk)
        order.insert(number - 1, locked.pk)
        _renumber(package, order)
        _forget_times(package)
    return PackageStop.objects.get(pk=stop.pk)


def remove_stop(*, stop: PackageStop) -> None:
    """Take a stop out of a draft; the ones after it move up."""
    remove_stops(package=stop.package, stops=[stop.pk])


@transaction.atomic
def remove_stops(*, package: WorkPackage, stops: Iterable[int]) -> None:
    """Take stops out of a draft; the ones after them move up."""
    locked = _lock(package, State.DRAFT)
    locked.stops.filter(pk__in=list(stops)).delete()
    _renumber(locked, list(locked.stops.order_by("number").values_list("pk", flat=True)))
    _forget_times(locked)


@transaction.atomic
def walk_order(*, package: WorkPackage) -> WorkPackage:
    """Put the stops of a draft in the order of a walk from its first to the nearest left."""
    locked = _lock(package, State.DRAFT)
    _walk(locked)
    _forget_times(locked)
    return locked


@transaction.atomic
def hand_out(
    *, package: WorkPackage, by: User | None = None, now: datetime | None = None
) -> WorkPackage:
    """Give a package to its crew: from now on phones take it along, and its stops stay."""
    locked = _lock(package, State.DRAFT)
    if not locked.stops.exists():
        msg = f"The package '{locked.title}' has no stop yet; add some before handing it out."
        raise StateConflictError(msg)
    return _to(locked, State.HANDED_OUT, "hand package out", "handed out", by, now)


@transaction.atomic
def take_back(
    *, package: WorkPackage, by: User | None = None, now: datetime | None = None
) -> WorkPackage:
    """Take a package back to the desk, as long as the crew recorded nothing of it."""
    locked = _lock(package, State.HANDED_OUT)
    if StopResult.objects.filter(stop__package=locked).exists():
        msg = (
            f"The crew has already recorded stops of '{locked.title}', so it cannot go back to "
            "the desk. Close it, and take over what is left in another package."
        )
        raise StateConflictError(msg)
    return _to(locked, State.DRAFT, "take package back", "taken back to the desk", by, now)


@transaction.atomic
def close_package(
    *, package: WorkPackage, by: User | None = None, now: datetime | None = None
) -> WorkPackage:
    """Close a package; what was not done stays listed, to take over in another one."""
    locked = _lock(package, State.DRAFT, State.HANDED_OUT)
    left = left_over(locked).count()
    return _to(locked, State.CLOSED, "close package", f"closed, {left} stops left", by, now)


@transaction.atomic
def record_stop(
    *,
    stop: PackageStop,
    outcome: str,
    reason: str = "",
    by: User | None = None,
    happened_at: datetime | None = None,
    client_uuid: uuid.UUID | None = None,
    now: datetime | None = None,
) -> StopResult:
    """
    Record what a crew says came of a stop; sent twice, it is recorded once.

    Taken of a closed package too: a crew out of coverage may say so late. A stop is done when
    the crew says so, not when something was recorded on its sign.
    """
    now = now or timezone.now()
    package = WorkPackage.objects.select_for_update(of=("self",)).get(pk=stop.package_id)
    known = _known(client_uuid, stop, outcome, reason.strip())
    if known is not None:
        return known
    _check_result(package, stop, outcome, reason.strip())
    result = StopResult(
        stop=stop,
        outcome=outcome,
        reason=reason.strip(),
        happened_at=happened_at or now,
        recorded_at=now,
        person=by,
        **({} if client_uuid is None else {"client_uuid": client_uuid}),
    )
    try:
        with transaction.atomic():
            result.save()
    except IntegrityError:
        # A request about a stop of another package stored the same key in the meantime.
        known = _known(client_uuid, stop, outcome, reason.strip())
        if known is None:
            raise
        return known
    because = f": {result.reason}" if result.reason else ""
    log(
        organisation=package.organisation,
        actor=by,
        verb="record stop",
        text=(
            f"Stop {stop.number} of package '{package.title}' "
            f"{result.get_outcome_display()}{because}."
        ),
        at=now,
        detail={"package": package.pk, "stop": stop.pk},
    )
    return result


def crew_members(organisation: Organisation) -> list[User]:
    """Return the people a package can be given to."""
    rows = Membership.objects.filter(organisation=organisation, role=Role.CREW)
    return [each.user for each in rows.select_related("user").order_by("user__username")]


def _check_result(package: WorkPackage, stop: PackageStop, outcome: str, reason: str) -> None:
    if package.state == State.DRAFT:
        msg = (
            f"The package '{package.title}' is still being put together; it is handed out "
            "before its stops are worked."
        )
        raise StateConflictError(msg)
    if outcome not in Outcome.values:
        allowed = ", ".join(Outcome.values)
        msg = f"'{outcome}' does not say what came of a stop; use one of {allowed}."
        raise OutOfRangeError(msg)
    if outcome == Outcome.NOT_DONE and not reason:
        msg = f"Say in a few words why stop {stop.number} was not done."
        raise OutOfRangeError(msg)
    if len(reason) > LONGEST_REASON:
        msg = (
            f"The reason has {len(reason)} characters; at most {LONGEST_REASON} are kept. "
            "Shorten it, or put the rest into a note on the sign."
        )
        raise OutOfRangeError(msg)


def _known(
    client_uuid: uuid.UUID | None, stop: PackageStop, outcome: str, reason: str
) -> StopResult | None:
    """Return the result already stored under this key; other content is refused."""
    if client_uuid is None:
        return None
    known: StopResult | None = StopResult.objects.filter(client_uuid=client_uuid).first()
    if known is not None and (known.stop_id, known.outcome, known.reason) != (
        stop.pk,
        outcome,
        reason,
    ):
        msg = (
            f"Something else was already recorded under the key {client_uuid}; it stays as it "
            "is. Send this under a key of its own."
        )
        raise StateConflictError(msg)
    return known


def _lock(package: WorkPackage, *states: str) -> WorkPackage:
    locked: WorkPackage = (
        WorkPackage.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=package.pk)
    )
    if locked.state not in states:
        allowed = " or ".join(State(each).label for each in states)
        msg = (
            f"The package '{locked.title}' is {locked.get_state_display()}; this is for one "
            f"that is {allowed}."
        )
        raise StateConflictError(msg)
    return locked


def _set_words(
    package: WorkPackage, title: str, work_on: date, crew: User | None, bring: str
) -> None:
    is_member = (
        crew is None
        or Membership.objects.filter(user=crew, organisation=package.organisation).exists()
    )
    if not is_member:
        msg = f"{crew} does not work for {package.organisation}; pick one of its crew, or none."
        raise StateConflictError(msg)
    package.title, package.work_on, package.bring = title.strip(), work_on, bring.strip()
    package.crew = crew
    check_fields(package, exclude=["organisation", "crew", "made_by"])


def _set_tour(package: WorkPackage, tour: Tour) -> None:
    owners = (tour.team.organisation_id, tour.programme.organisation_id)
    if set(owners) != {package.organisation_id}:
        msg = f"The crew and the programme of a tour are those of {package.organisation}."
        raise StateConflictError(msg)
    package.team, package.programme = tour.team, tour.programme
    package.leave_minute, package.minutes = tour.leave_minute, tour.minutes
    package.drive_mi = tour.drive_mi


def _forget_times(package: WorkPackage) -> None:
    """Forget when a crew arrives where: the times were of the order that is changed."""
    if package.minutes is None:
        return
    package.leave_minute = package.minutes = package.drive_mi = None
    package.save(update_fields=["leave_minute", "minutes", "drive_mi"])
    package.stops.update(arrive_minute=None)


def _add(package: WorkPackage, stops: Sequence[WantedStop]) -> None:
    others = [s for s in stops if s.position.organisation_id != package.organisation_id]
    if others:
        msg = (
            f"{others[0].position} does not belong to {package.organisation}; choose places of "
            "its own."
        )
        raise StateConflictError(msg)
    count = package.stops.count() + len(stops)
    if count > MOST_STOPS:
        msg = (
            f"The package would have {count} stops; at most {MOST_STOPS} go into one. Put the "
            "rest into another package."
        )
        raise OutOfRangeError(msg)
    last = package.stops.aggregate(last=Max("number"))["last"] or 0
    rows = [
        PackageStop(
            package=package,
            number=number,
            position=each.position,
            task=_task(each.task),
            note=each.note.strip(),
            planned=each.planned,
            face=each.face,
            arrive_minute=each.arrive_minute,
            service_minutes=each.service_minutes,
        )
        for number, each in enumerate(stops, start=last + 1)
    ]
    for row in rows:
        check_fields(row, exclude=["package", "position", "planned", "face"])
    PackageStop.objects.bulk_create(rows)


def _task(task: str) -> str:
    if task not in Task.values:
        msg = f"'{task}' is no task; use one of {', '.join(Task.values)}."
        raise OutOfRangeError(msg)
    return str(task)


def _walk(package: WorkPackage) -> None:
    stops = package.stops.order_by("number")
    rows = list(
        stops.values_list(
            "pk", "position__support__latitude_deg", "position__support__longitude_deg"
        )
    )
    if not rows:
        return
    keys, latitudes, longitudes = zip(*rows, strict=True)
    _renumber(package, [keys[n] for n in nearest_neighbour_order(latitudes, longitudes)])


def _renumber(package: WorkPackage, order: Sequence[int]) -> None:
    """Give stops the numbers of an order; each number is there only once at any moment."""
    package.stops.update(number=F("number") + _ASIDE)
    PackageStop.objects.bulk_update(
        [PackageStop(pk=key, number=number) for number, key in enumerate(order, start=1)],
        ["number"],
    )


def _to(
    package: WorkPackage, state: str, verb: str, words: str, by: User | None, now: Any
) -> WorkPackage:
    package.state = state
    package.save(update_fields=["state"])
    _log(package, by, verb, words, now)
    return package


def _log(
    package: WorkPackage, by: User | None, verb: str, words: str, now: datetime | None
) -> None:
    log(
        organisation=package.organisation,
        actor=by,
        verb=verb,
        text=f"Package '{package.title}' of {package.work_on:%Y-%m-%d}: {words}.",
        at=now or timezone.now(),
        detail={"package": package.pk},
    )
