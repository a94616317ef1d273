"""Damage that is over by what was done or seen: a new face, a sign not needed, a later look."""

from __future__ import annotations

from datetime import datetime, time
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from inventory.engineering.inspection.damage import OUTLIVES_THE_FACE
from inventory.models import DamageClosure, DamageReport, DamageStanding, Sign
from inventory.models.damage import ClockPrecision
from inventory.services.damage_standing import first_moment, rebuild_damage
from inventory.services.logbook import entry, log_many

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from inventory.models import Organisation, Position, User

Way = DamageClosure.Way


class Known(NamedTuple):
    """A moment as far as it is known."""

    at: datetime | None
    precision: str


NOT_KNOWN = Known(None, ClockPrecision.UNKNOWN)


def known(moment: datetime | date | None, organisation: Organisation) -> Known:
    """Return a moment with how well it is known: a day where only the day is given."""
    if moment is None:
        return NOT_KNOWN
    if isinstance(moment, datetime):
        return Known(moment, ClockPrecision.MINUTE)
    start = datetime.combine(moment, time.min, ZoneInfo(organisation.time_zone))
    return Known(start, ClockPrecision.DAY)


def close_by_new_face(
    *,
    new: Sign,
    position: Position,
    installed_at: datetime | None,
    by: User | None,
    now: datetime,
) -> list[DamageClosure]:
    """
    Close the damage of a place where a new face went up, within the caller's transaction.

    What a new face does not put right (a leaning post, growth in front) stays open, and counts
    for the new face. ``installed_at`` is the moment, where more than the day is known.
    """
    reports = [
        each.report
        for each in DamageStanding.objects.filter(position=position, is_open=True)
        .select_related("report__organisation")
        .order_by("report")
    ]
    over = [each for each in reports if _is_over_with(each, new)]
    closures = close_many(
        [(each, _by_face(each, new, installed_at, by, now)) for each in over], now=now
    )
    rebuild_damage([each.pk for each in reports if each not in over], now=now)
    return closures


def close_as_not_needed(*, sign: Sign, by: User | None, now: datetime) -> list[DamageClosure]:
    """Close the damage of a face that came down because nobody needs it any more."""
    rows = DamageStanding.objects.filter(sign=sign, is_open=True).order_by("report")
    reports = [each.report for each in rows.select_related("report__organisation")]
    return close_many(
        [(each, closing_as_not_needed(each, sign, by, now)) for each in reports], now=now
    )


def close_many(
    closing: Sequence[tuple[DamageReport, DamageClosure]], *, now: datetime
) -> list[DamageClosure]:
    """Store closures of reports, say so in the logbook, and write how the reports stand."""
    if not closing:
        return []
    closures = DamageClosure.objects.bulk_create(closure for _, closure in closing)
    log_many(
        entry(
            organisation=report.organisation,
            actor=closure.done_by,
            verb="close damage",
            text=closing_words(report, closure),
            at=now,
            sign=report.sign,
            detail={"damage": report.pk},
        )
        for report, closure in closing
    )
    rebuild_damage([report.pk for report, _ in closing], now=now)
    return closures


def closing_words(report: DamageReport, closure: DamageClosure) -> str:
    """Return what was done about a report, as the logbook says it."""
    when = (
        "on a day not known"
        if closure.done_at is None
        else f"on {report.organisation.day_of(closure.done_at):%Y-%m-%d}"
    )
    note = f" {closure.note}" if closure.note else ""
    other = f" (damage {closure.same_as_id})" if closure.same_as_id else ""
    return (
        f"Damage {report.pk} ({report.get_kind_display()}) is closed: "
        f"{closure.get_way_display()}{other}, {when}.{note}"
    )


def closing_by_faces(
    reports: Sequence[DamageReport], *, now: datetime
) -> list[tuple[DamageReport, DamageClosure]]:
    """
    Return how reports are over that came in late, on faces taken down meanwhile.

    A crew without a network sends what it saw after another has put the new face up.
    """
    late = [
        each
        for each in reports
        if each.sign is not None and each.sign.state == Sign.State.REMOVED
    ]
    if not late:
        return []
    there = {
        each.position_id: each
        for each in Sign.objects.filter(
            position__in={each.position_id for each in late}, state=Sign.State.INSTALLED
        )
    }
    found = []
    for report in late:
        face, new = report.sign, there.get(report.position_id)
        if face is None:
            continue
        if face.removal_reason == Sign.RemovalReason.NOT_NEEDED:
            found.append((report, closing_as_not_needed(report, face, None, now)))
        elif new is not None and report.kind not in OUTLIVES_THE_FACE:
            found.append((report, _by_face(report, new, None, None, now)))
    return found


def closing_as_not_needed(
    report: DamageReport, sign: Sign, by: User | None, now: datetime
) -> DamageClosure:
    """Return the closure of a report on a face that nobody needs."""
    done = known(sign.removed_on, report.organisation)
    return DamageClosure(
        report=report,
        way=Way.NOTHING,
        done_at=done.at,
        done_precision=done.precision,
        recorded_at=now,
        done_by=by,
        note="The sign came down: it is no longer needed.",
    )


def _is_over_with(report: DamageReport, new: Sign) -> bool:
    """Return whether a new face puts a report right: it was of what stood there before."""
    if report.kind in OUTLIVES_THE_FACE or report.sign_id == new.pk:
        return False
    if report.sign_id is not None or new.installed_on is None:
        return True
    return bool(report.organisation.day_of(first_moment(report)) <= new.installed_on)


def _by_face(
    report: DamageReport,
    new: Sign,
    installed_at: datetime | None,
    by: User | None,
    now: datetime,
) -> DamageClosure:
    agency = report.organisation
    has_time = installed_at is not None and agency.day_of(installed_at) == new.installed_on
    done = known(installed_at if has_time else new.installed_on, agency)
    return DamageClosure(
        report=report,
        way=Way.NEW_FACE,
        done_at=done.at,
        done_precision=done.precision,
        recorded_at=now,
        done_by=by,
        new_sign=new,
    )
