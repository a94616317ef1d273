"""
What a programme year, a work package or chosen signs ask to be ordered, and by when.

========================  ==============================================================
needed by                 where
========================  ==============================================================
the day before the work   a package that is not closed has a stop there for a new face
the due date              it falls within the year
the last day of the year  the sign is not due before the programme replaces it
========================  ==============================================================

A face takes the lead days of the agency's work basis from its order to its post, so the day to
order by is the day it must be up less the lead.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef
from django.utils import timezone

from inventory.engineering.standards.safety import remaining_class, safety_class
from inventory.errors import InventoryError, OutOfRangeError, StateConflictError
from inventory.models import (
    PackageStop,
    PlannedReplacement,
    Position,
    Programme,
    Sign,
    Standing,
    StopResult,
    WorkPackage,
)
from inventory.services.ordering.stock_matching import OPEN_PACKAGES
from inventory.services.programme.pool import GIVEN_UP, State, state_of, with_state
from inventory.services.programme.work_bases import find_work_basis
from inventory.services.work_packages import with_outcome

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from inventory.engineering.standards.local import CodeBook
    from inventory.models import Organisation

NEW_FACE_TASKS = (PackageStop.Task.REPLACE, PackageStop.Task.INSTALL)
FIRST_CLASS = 1
MOST_SIGNS = 5000  # of one hand-over; a county's year is far below
DAY = timedelta(days=1)
YEAR = timedelta(days=365)


@dataclass(frozen=True)
class Asked:
    """One position that a new face is asked for, and by when."""

    position: Position
    standing: Sign | None
    safety_class: int
    is_must: bool
    due_on: date | None
    needed_by: date | None
    needed_words: str
    order_by: date | None
    reason: str

    @property
    def is_first(self) -> bool:
        """Return whether it comes before all others: a must of class 1."""
        return self.is_must and self.safety_class == FIRST_CLASS

    @property
    def urgency(self) -> tuple[bool, date, int, int]:
        """Return what the most pressing come first by."""
        return (
            not self.is_first,
            self.needed_by or date.max,
            self.safety_class,
            self.position.pk,
        )


@dataclass(frozen=True)
class Source:
    """What is handed over: where it comes from, and what it asks for."""

    agency: Organisation
    title: str
    asked: list[Asked]
    lead_days: int | None
    may_order: str = ""
    far: date | None = None  # what is needed later is one order for each calendar year
    done: list[str] = field(default_factory=list)


def of_year(
    *, programme: Programme, year: int, book: CodeBook, now: datetime | None = None
) -> Source:
    """
    Return what a year of a programme still asks for.

    Done is a position where another face has gone up since, one that was given up, one whose
    sign came down for good, and one of which the crew says that it is done. ``may_order`` says
    why nothing is ordered of a programme that is not the adopted one.
    """
    now = now or timezone.now()
    last = programme.first_year + programme.years - 1
    if not programme.first_year <= year <= last:
        msg = (
            f"{programme.name} has no year {year}; it runs from {programme.first_year} to "
            f"{last}. Pick one of these."
        )
        raise OutOfRangeError(msg)
    agency, lead = programme.organisation, programme.work_basis.lead_days
    rows = list(
        with_state(PlannedReplacement.objects.filter(programme=programme, year=year))
        .select_related("position__support__road", "position__organisation", "sign")
        .order_by("safety_class", "position")
    )
    stands = _installed(row.position_id for row in rows)
    works = _works(row.position_id for row in rows)
    asked, done = [], []
    for row in rows:
        sign = stands.get(row.position_id)
        why_done = _why_done(row, sign)
        if why_done:
            done.append(why_done)
            continue
        end = date(year, 12, 31)
        is_due = row.due_on is not None and row.due_on <= end
        asked.append(
            _asked(
                row.position,
                sign,
                safety_class=row.safety_class,
                is_must=row.must_by_year is not None,
                due_on=row.due_on,
                up_by=row.due_on if is_due else end,
                words="the due date" if is_due else f"the last day of {year}",
                work=works.get(row.position_id),
                lead=lead,
                reason=row.reason,
            )
        )
    return Source(
        agency=agency,
        title=f"{programme.name}, {year}",
        asked=sorted(asked, key=lambda each: each.urgency),
        lead_days=lead,
        may_order=_why_not(programme),
        done=done,
    )


def of_package(*, package: WorkPackage, book: CodeBook, now: datetime | None = None) -> Source:
    """Return the faces that the stops of a work package take: replaced or put up."""
    now = now or timezone.now()
    agency = package.organisation
    stops = list(
        with_outcome(PackageStop.objects.filter(package=package, task__in=NEW_FACE_TASKS))
        .select_related("position__support__road", "position__organisation")
        .order_by("number")
    )
    positions = list({stop.position_id: stop.position for stop in stops}.values())
    said_done = {stop.position_id for stop in stops if stop.outcome == StopResult.Outcome.DONE}
    left = [each for each in positions if each.pk not in said_done]
    why_not = "" if package.state in OPEN_PACKAGES else "This package is closed."
    return Source(
        agency=agency,
        title=f"Package {package.title}, {package.work_on:%Y-%m-%d}",
        asked=_of_positions(
            left,
            agency=agency,
            book=book,
            now=now,
            works={each.pk: (package.work_on, package.title) for each in left},
            reason=f"Package {package.title} of {package.work_on:%Y-%m-%d}",
        ),
        lead_days=_lead_of(agency, now),
        may_order=why_not,
        done=[
            f"{each}: the crew says it is done." for each in positions if each.pk in said_done
        ],
    )


def of_signs(
    *,
    agency: Organisation,
    signs: Iterable[int],
    book: CodeBook,
    title: str = "Chosen signs",
    now: datetime | None = None,
) -> Source:
    """Return what chosen signs ask for; those that stand nowhere are told as left aside."""
    now = now or timezone.now()
    keys = list(dict.fromkeys(signs))
    if len(keys) > MOST_SIGNS:
        msg = (
            f"{len(keys):,} signs are chosen; at most {MOST_SIGNS:,} are handed over at once. "
            "Narrow the choice, for example by road or class."
        )
        raise OutOfRangeError(msg)
    rows = (
        Sign.objects.owned_by(agency)
        .filter(pk__in=keys)
        .select_related("position__support__road", "position__organisation")
        .order_by("pk")
    )
    own = list(rows)
    up = [each for each in own if each.state == Sign.State.INSTALLED]
    positions = [each.position for each in up if each.position is not None]
    return Source(
        agency=agency,
        title=title,
        asked=_of_positions(
            positions,
            agency=agency,
            book=book,
            now=now,
            works=_works(each.pk for each in positions),
            reason="",
        ),
        lead_days=_lead_of(agency, now),
        far=agency.day_of(now) + YEAR,
        done=[
            f"{each} is {each.get_state_display()}, so there is no place to replace it in."
            for each in own
            if each.state != Sign.State.INSTALLED
        ],
    )


def of_position(*, position: Position, book: CodeBook, now: datetime | None = None) -> Source:
    """Return what one position asks for, by how its sign stands today."""
    now = now or timezone.now()
    agency = position.organisation
    return Source(
        agency=agency,
        title=str(position),
        asked=_of_positions(
            [position],
            agency=agency,
            book=book,
            now=now,
            works=_works([position.pk]),
            reason="",
        ),
        lead_days=_lead_of(agency, now),
    )


def _of_positions(
    positions: Sequence[Position],
    *,
    agency: Organisation,
    book: CodeBook,
    now: datetime,
    works: dict[int, tuple[date, str]],
    reason: str,
) -> list[Asked]:
    """Return what positions ask for, by how their signs stand today."""
    stands = _installed(each.pk for each in positions)
    standings = {
        each.sign_id: each
        for each in Standing.objects.filter(sign__in=[sign.pk for sign in stands.values()])
    }
    lead, today = _lead_of(agency, now), agency.day_of(now)
    asked = []
    for position in positions:
        sign = stands.get(position.pk)
        standing = standings.get(sign.pk) if sign is not None else None
        due_on, words = None, ""
        if standing is not None and standing.is_due:
            due_on, words = today, "it is due now"
        elif standing is not None and standing.forecast_due_on is not None:
            due_on, words = max(standing.forecast_due_on, today), "the due date"
        asked.append(
            _asked(
                position,
                sign,
                safety_class=standing.safety_class if standing else _class_of(position, book),
                is_must=due_on is not None,
                due_on=due_on,
                up_by=due_on,
                words=words or "no date is known",
                work=works.get(position.pk),
                lead=lead,
                reason=reason
                or (standing.due_reason if standing is not None and standing.is_due else ""),
            )
        )
    return sorted(asked, key=lambda each: each.urgency)


def _asked(
    position: Position,
    sign: Sign | None,
    *,
    safety_class: int,
    is_must: bool,
    due_on: date | None,
    up_by: date | None,
    words: str,
    work: tuple[date, str] | None,
    lead: int | None,
    reason: str,
) -> Asked:
    """Return what is asked for, with the day it is needed by and the day to order by."""
    needed_by = up_by
    if work is not None:
        up_by, title = work
        needed_by, words = up_by - DAY, f"the day before the work of package {title}"
    return Asked(
        position=position,
        standing=sign,
        safety_class=safety_class,
        is_must=is_must,
        due_on=due_on,
        needed_by=needed_by,
        needed_words=words,
        order_by=None if up_by is None or lead is None else up_by - lead * DAY,
        reason=reason,
    )


def _installed(positions: Iterable[int]) -> dict[int, Sign]:
    """Return the face that stands in each position, with its owner and colours."""
    rows = (
        Sign.objects.filter(position__in=list(positions), state=Sign.State.INSTALLED)
        .select_related("owner")
        .prefetch_related("colour_areas")
        .order_by("pk")
    )
    return {each.position_id: each for each in rows if each.position_id is not None}


def _works(positions: Iterable[int]) -> dict[int, tuple[date, str]]:
    """Return the first day on which a package still has a new face to put up in a position."""
    said = StopResult.objects.filter(stop=OuterRef("pk"))
    stops = (
        PackageStop.objects.filter(
            ~Exists(said),
            position__in=list(positions),
            task__in=NEW_FACE_TASKS,
            package__state__in=OPEN_PACKAGES,
        )
        .order_by("-package__work_on", "pk")
        .values_list("position", "package__work_on", "package__title")
    )
    return {position: (work_on, title) for position, work_on, title in stops}


def _why_done(row: PlannedReplacement, sign: Sign | None) -> str:
    """Return why a planned replacement asks for no face any more; empty where it does."""
    if row.position.is_retired:
        return f"{row.position}: the place is given up."
    if sign is not None and sign.pk != row.sign_id:
        day = f" on {sign.installed_on:%Y-%m-%d}" if sign.installed_on else ""
        return f"{row.position}: another face went up{day}."
    if sign is None and row.sign.removal_reason in GIVEN_UP:
        return f"{row.position}: its sign came down ({row.sign.get_removal_reason_display()})."
    state = state_of(row)
    return f"{row.position}: {state.words}." if state.state == State.SAID_DONE else ""


def _why_not(programme: Programme) -> str:
    """Return why nothing is ordered of a programme; empty for the adopted one."""
    if programme.state == Programme.State.ADOPTED:
        return ""
    if programme.state == Programme.State.DRAFT:
        return "This programme is a draft: adopt it before faces are ordered by it."
    return "Another programme was adopted after this one: order by that one."


def _lead_of(agency: Organisation, now: datetime) -> int | None:
    """Return the days from an order to the post; ``None`` where the agency has not said."""
    basis = find_work_basis(agency, agency.day_of(now))
    return basis.lead_days if basis is not None else None


def _class_of(position: Position, book: CodeBook) -> int:
    """Return the safety class of what a position asks for."""
    try:
        return safety_class(book.resolve(position.sign_code).sign_type).number
    except InventoryError:
        return remaining_class().number


def check_may_order(source: Source) -> None:
    """Refuse to order where the source says why not."""
    if source.may_order:
        raise StateConflictError(source.may_order)
