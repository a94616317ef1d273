"""What of a programme is still to be done: derived from faces and packages, never typed."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Exists, OuterRef, Q, Subquery, TextChoices, Value
from django.db.models.functions import Coalesce

from inventory.errors import OutOfRangeError
from inventory.models import (
    PackageStop,
    PlannedReplacement,
    Sign,
    StopResult,
    WorkPackage,
)

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Programme, ScopedQuerySet

NEW_FACE_TASKS = (PackageStop.Task.REPLACE, PackageStop.Task.INSTALL)
OPEN_STATES = (WorkPackage.State.DRAFT, WorkPackage.State.HANDED_OUT)
_EVER = date(1, 1, 1)
# Faces that came down for these reasons are not put up again.
GIVEN_UP = (Sign.RemovalReason.NOT_NEEDED, Sign.RemovalReason.DUPLICATE)
_IS_UP = Q(sign__state=Sign.State.INSTALLED)
_IS_OVER = (
    Q(new_face__isnull=False)
    | Q(sign__removal_reason__in=GIVEN_UP)
    | Q(position__is_retired=True)
)
# A face that came down with none put up after it leaves its place open: that is not done.
_IS_OPEN = _IS_UP | ~_IS_OVER
_IS_FREE = _IS_OPEN & Q(waits_in__isnull=True)
_SAID = StopResult.Outcome


class State(TextChoices):
    """How far a planned replacement is."""

    TO_DO = "to_do", "to do"
    IN_PACKAGE = "in_package", "in a package"
    SAID_DONE = "said_done", "said to be done, no new face on record"
    NOT_DONE = "not_done", "not done"
    DONE = "done", "done"


_IS = {
    State.TO_DO: _IS_FREE & Q(said__isnull=True),
    State.IN_PACKAGE: _IS_OPEN & Q(waits_in__isnull=False),
    State.SAID_DONE: _IS_FREE & Q(said=_SAID.DONE),
    State.NOT_DONE: _IS_FREE & Q(said=_SAID.NOT_DONE),
    State.DONE: ~_IS_UP & _IS_OVER,
}


@dataclass(frozen=True)
class PlannedState:
    """A state in words, with the day and the package where there is one."""

    state: State
    words: str
    on: date | None = None
    package_id: int | None = None

    @property
    def is_to_do(self) -> bool:
        """Return whether it belongs to the pool."""
        return self.state in (State.TO_DO, State.NOT_DONE)


def with_state(rows: ScopedQuerySet) -> ScopedQuerySet:
    """
    Return planned replacements with what their state is read from, in the same query.

    What a crew said counts when it was said after the face went up: of the face before it, it
    says nothing.
    """
    stops = PackageStop.objects.filter(
        position=OuterRef("sign__position"), task__in=NEW_FACE_TASKS
    )
    results = StopResult.objects.filter(
        stop__position=OuterRef("sign__position"),
        stop__task__in=NEW_FACE_TASKS,
        happened_at__date__gt=Coalesce(OuterRef("sign__installed_on"), Value(_EVER)),
    ).order_by("-recorded_at", "-pk")
    waiting = (
        stops.filter(package__state__in=OPEN_STATES)
        .filter(~Exists(StopResult.objects.filter(stop=OuterRef("pk"))))
        .order_by("-package__work_on", "-pk")
    )
    new_face = (
        Sign.objects.filter(position=OuterRef("position"), state=Sign.State.INSTALLED)
        .exclude(pk=OuterRef("sign"))
        .order_by("pk")
    )
    annotated: ScopedQuerySet = rows.select_related(
        "sign", "position", "programme__organisation"
    ).annotate(
        waits_in=Subquery(waiting.values("package")[:1]),
        waits_title=Subquery(waiting.values("package__title")[:1]),
        waits_on=Subquery(waiting.values("package__work_on")[:1]),
        said=Subquery(results.values("outcome")[:1]),
        said_reason=Subquery(results.values("reason")[:1]),
        said_at=Subquery(results.values("happened_at")[:1]),
        new_face=Subquery(new_face.values("pk")[:1]),
        new_face_on=Subquery(new_face.values("installed_on")[:1]),
    )
    return annotated


def pool(*, programme: Programme, year: int, month: int | None = None) -> ScopedQuerySet:
    """
    Return what is to be done in a year: not done, not in an open package, not said to be done.

    With a month, what is due by its end, and what has no due date.
    """
    rows = PlannedReplacement.objects.filter(programme=programme, year=year)
    if month is not None:
        rows = rows.filter(Q(due_on__isnull=True) | Q(due_on__lte=_last_day_of(year, month)))
    found: ScopedQuerySet = (
        with_state(rows)
        .filter(_IS[State.TO_DO] | _IS[State.NOT_DONE])
        .order_by("safety_class", "due_on", "position")
    )
    return found


def in_state(rows: ScopedQuerySet, state: str) -> ScopedQuerySet:
    """Return the rows of ``with_state`` that are in a state, still as a query."""
    if state not in State.values:
        allowed = ", ".join(State.values)
        msg = f"'{state}' is no state of a planned replacement; use one of {allowed}."
        raise OutOfRangeError(msg)
    found: ScopedQuerySet = rows.filter(_IS[State(state)])
    return found


def state_of(planned: PlannedReplacement) -> PlannedState:
    """Return how far a planned replacement is; without a query where ``with_state`` made it."""
    row: Any = planned
    if not hasattr(row, "waits_in"):
        row = with_state(PlannedReplacement.objects.filter(pk=planned.pk)).get()
    sign: Sign = row.sign
    is_up = sign.state == Sign.State.INSTALLED
    if not is_up and (
        row.new_face is not None or sign.removal_reason in GIVEN_UP or row.position.is_retired
    ):
        return _done(row, sign)
    if row.waits_in is not None:
        words = f"in package '{row.waits_title}' of {row.waits_on:%Y-%m-%d}"
        return PlannedState(State.IN_PACKAGE, words, row.waits_on, row.waits_in)
    if row.said is None:
        return PlannedState(State.TO_DO, "to do" if is_up else _put_up_words(sign))
    day = _day(row, row.said_at)
    if row.said == StopResult.Outcome.DONE:
        words = f"the crew says done on {day:%Y-%m-%d}; no new face is on record"
        return PlannedState(State.SAID_DONE, words, day)
    words = f"not done on {day:%Y-%m-%d}: {row.said_reason}; to do again"
    return PlannedState(State.NOT_DONE, words, day)


def counts_of(*, programme: Programme, year: int) -> dict[str, int]:
    """Return how many planned replacements of a year are in each state, in one query."""
    rows = with_state(PlannedReplacement.objects.filter(programme=programme, year=year))
    counted: dict[str, int] = rows.order_by().aggregate(
        **{state.value: Count("pk", filter=condition) for state, condition in _IS.items()}
    )
    return counted


def _done(row: Any, sign: Sign) -> PlannedState:
    if sign.removal_reason == Sign.RemovalReason.DUPLICATE:
        return PlannedState(State.DONE, "recorded twice; nothing to do", sign.removed_on)
    verb = "done" if row.new_face is not None else "taken down for good"
    when = f" on {sign.removed_on:%Y-%m-%d}" if sign.removed_on else ""
    return PlannedState(State.DONE, f"{verb}{when}", sign.removed_on)


def _put_up_words(sign: Sign) -> str:
    when = f" on {sign.removed_on:%Y-%m-%d}" if sign.removed_on else ""
    return f"taken down{when}, no face up since; to put up"


def _day(row: Any, moment: datetime) -> date:
    """Return the day of a moment where the agency is."""
    return row.programme.organisation.day_of(moment)  # type: ignore[no-any-return] # a row


def _last_day_of(year: int, month: int) -> date:
    if not 1 <= month <= 12:
        msg = f"There is no month {month}; use 1 to 12, or none for the whole year."
        raise OutOfRangeError(msg)
    return date(year, month, monthrange(year, month)[1])
