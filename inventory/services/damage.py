"""Damage now: reported at the desk, corrected, closed by hand, and opened again."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.inspection.damage import GONE, damage_severity
from inventory.engineering.inspection.vocabulary import Severity
from inventory.errors import OutOfRangeError, StateConflictError, UnlikelyError
from inventory.models import (
    DamageClosure,
    DamageReopening,
    DamageReport,
    DamageStanding,
    Observation,
    Position,
    Sign,
)
from inventory.services.assessment import refresh_standing
from inventory.services.damage_closing import Known, close_many, known
from inventory.services.damage_standing import closures_of, first_moment, rebuild_damage
from inventory.services.fields import check_fields, check_storable
from inventory.services.logbook import log
from inventory.services.relinks import positions_kept_for

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import Organisation, ScopedQuerySet, User

Way, Channel = DamageClosure.Way, DamageReport.Channel
# A clock may run ahead: a moment no later than this after now is taken as it was told.
MOST_AHEAD = timedelta(minutes=10)
DESK_CHANNELS = (Channel.CALL, Channel.LETTER, Channel.POLICE, Channel.DESK)
TOLD_CHANNELS = (Channel.CALL, Channel.LETTER, Channel.POLICE)
HAND_WAYS = (Way.REPAIRED, Way.NOTHING, Way.SAME)
LONGEST_NOTE = DamageClosure._meta.get_field("note").max_length or 0


@dataclass(frozen=True, kw_only=True)
class Told:
    """
    What was told of damage; a moment is a time, a day alone, or ``None`` where not known.

    ``severity`` may be left out for what is missing or down.
    """

    kind: str
    channel: str
    severity: int | None = None
    reported_at: datetime | date | None = None
    notified_at: datetime | date | None = None
    told_by: str = ""
    description: str = ""


def open_damage(organisation: Organisation) -> ScopedQuerySet:
    """
    Return the damage of an agency that is open, the most pressing first.

    By safety class, severe before moderate, then by the last day of its time: a Stop sign that
    is down comes before a bend that has been overdue for years.
    """
    rows: ScopedQuerySet = (
        DamageStanding.objects.owned_by(organisation)
        .filter(is_open=True)
        .select_related("report", "sign", "position__support__road")
        .order_by("safety_class", "-severity", "sort_on", "report")
    )
    return rows


@transaction.atomic
def report_damage(
    *,
    position: Position,
    told: Told,
    by: User | None = None,
    client_uuid: uuid.UUID | None = None,
    is_confirmed: bool = False,
    now: datetime | None = None,
) -> DamageReport:
    """
    Store what was told at the desk of a place and the face there; sent twice, stored once.

    Damage of the kind that is open there already is refused as told of twice until it is
    confirmed with ``is_confirmed``.
    """
    now = now or timezone.now()
    key = client_uuid or uuid.uuid4()
    position = _lock_position(position)
    stored = DamageReport.objects.filter(client_uuid=key).first()
    if stored is not None:
        return _same(stored, position, told)
    if position.is_retired:
        msg = f"'{position}' is retired: no sign stands or belongs there. Choose another place."
        raise StateConflictError(msg)
    if told.channel not in DESK_CHANNELS:
        msg = (
            f"'{told.channel}' is not how damage is told at the desk; use one of "
            f"{', '.join(DESK_CHANNELS)}."
        )
        raise OutOfRangeError(msg)
    report = _report_of(position, told, by, now)
    report.client_uuid = key
    report.sign = Sign.objects.filter(position=position, state=Sign.State.INSTALLED).first()
    if not is_confirmed:
        _refuse_told_twice(report)
    _store(report, "report damage", f"Damage reported: {_words(report)}.", now)
    return report


@transaction.atomic
def correct_damage(
    *,
    report: DamageReport,
    told: Told,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> DamageReport:
    """Store a report that puts an earlier one right; that one stays, and counts no more."""
    now = now or timezone.now()
    reason = _read_reason(reason, "the report is corrected")
    _lock_position(report.position)
    later = DamageReport.objects.filter(corrects=report).first()
    if later is not None:
        msg = (
            f"Damage {report.pk} was corrected already, by damage {later.pk}; correct that one."
        )
        raise StateConflictError(msg)
    corrected = _report_of(report.position, told, by, now)
    corrected.sign, corrected.corrects = report.sign, report
    _store(
        corrected,
        "correct damage",
        f"Damage {report.pk} is corrected: {_words(corrected)}. {reason}",
        now,
    )
    rebuild_damage([report.pk], now=now)
    return corrected


@transaction.atomic
def close_damage(
    *,
    report: DamageReport,
    way: str,
    done_at: datetime | date | None = None,
    note: str = "",
    same_as: DamageReport | None = None,
    by: User | None = None,
    client_uuid: uuid.UUID | None = None,
    now: datetime | None = None,
) -> DamageClosure:
    """
    Close damage by hand; sent twice, it is closed once.

    A new face closes what it puts right when it is put up. ``done_at`` is a time, a day alone,
    or ``None`` where nobody knows when.
    """
    now = now or timezone.now()
    key = client_uuid or uuid.uuid4()
    _lock_position(report.position)
    stored: DamageClosure | None = DamageClosure.objects.filter(client_uuid=key).first()
    if stored is not None:
        if (stored.report_id, stored.way) == (report.pk, way):
            return stored
        msg = f"Another closing was stored under the key {key}; it stays as it is."
        raise StateConflictError(msg)
    if way not in HAND_WAYS:
        msg = (
            f"'{way}' does not close damage by hand; use one of {', '.join(HAND_WAYS)}. A new "
            "face closes it when it is put up."
        )
        raise OutOfRangeError(msg)
    _refuse_closed(report)
    note = _read_note(note, way)
    done = _done(report, done_at, now)
    if way == Way.SAME:
        _check_same_as(report, same_as)
    elif same_as is not None:
        msg = "Only damage that was told of twice names another report; leave it out."
        raise OutOfRangeError(msg)
    (closure,) = close_many(
        [
            (
                report,
                DamageClosure(
                    report=report,
                    client_uuid=key,
                    way=way,
                    done_at=done.at,
                    done_precision=done.precision,
                    recorded_at=now,
                    done_by=by,
                    same_as=same_as,
                    note=note,
                ),
            )
        ],
        now=now,
    )
    _refresh(report, now)
    return closure


@transaction.atomic
def reopen_damage(
    *,
    report: DamageReport,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> DamageReopening:
    """Take the closing of damage back: its clock runs on as if it had never been closed."""
    now = now or timezone.now()
    reason = _read_reason(reason, "the damage is open again")
    _lock_position(report.position)
    closure = closures_of([report]).get(report.pk)
    if closure is None:
        msg = f"Damage {report.pk} is open; there is no closing to take back."
        raise StateConflictError(msg)
    if closure.way in (Way.NEW_FACE, Way.FOUND_SOUND):
        msg = (
            f"Damage {report.pk} was closed by what was recorded on the sign "
            f"({closure.get_way_display()}); report new damage, or correct that record."
        )
        raise StateConflictError(msg)
    reopening: DamageReopening = DamageReopening.objects.create(
        closure=closure, reason=reason, reopened_at=now, reopened_by=by
    )
    rebuild_damage([report.pk], now=now)
    log(
        organisation=report.organisation,
        actor=by,
        verb="reopen damage",
        text=f"Damage {report.pk} is open again. {reason}",
        at=now,
        sign=report.sign,
        detail={"damage": report.pk},
    )
    _refresh(report, now)
    return reopening


def others_open(report: DamageReport) -> Sequence[DamageStanding]:
    """Return the other open damage of the same place, the oldest first."""
    standing = DamageStanding.objects.filter(report=report).first()
    place = report.position_id if standing is None else standing.position_id
    rows = DamageStanding.objects.filter(position=place, is_open=True).exclude(report=report)
    return list(rows.select_related("report").order_by("report"))


def _report_of(position: Position, told: Told, by: User | None, now: datetime) -> DamageReport:
    agency = position.organisation
    if told.kind not in Observation.Kind.values:
        kinds = ", ".join(Observation.Kind.values)
        msg = f"'{told.kind}' is no kind of damage; use one of {kinds}."
        raise OutOfRangeError(msg)
    reported = _moment(told.reported_at, "it was first seen", agency, now)
    notified = _moment(told.notified_at, "the agency was told", agency, now)
    told_by, description = told.told_by.strip(), told.description.strip()
    for text, name in ((told_by, "name of who told"), (description, "description")):
        check_storable(text, name)
    if told.channel in TOLD_CHANNELS and not told_by:
        msg = (
            "Say who told of it; write 'gave no name' where somebody did not want to be named."
        )
        raise OutOfRangeError(msg)
    report = DamageReport(
        organisation=agency,
        position=position,
        channel=told.channel,
        kind=told.kind,
        severity=_severity(told),
        description=description,
        told_by=told_by,
        reported_at=reported.at,
        reported_precision=reported.precision,
        notified_at=notified.at,
        notified_precision=notified.precision,
        entered_at=now,
        entered_by=by,
    )
    check_fields(report, exclude=["organisation", "position", "sign", "entered_by"])
    return report


def _severity(told: Told) -> int:
    if told.severity is None and told.kind not in GONE:
        msg = "Say how bad it is: moderate (2) or severe (3), it cannot be relied on."
        raise OutOfRangeError(msg)
    given = Severity.SEVERE.value if told.severity is None else told.severity
    if given not in Observation.Severity.values:
        msg = f"{given} is not how bad damage is; use 2 (moderate) or 3 (severe)."
        raise OutOfRangeError(msg)
    found = damage_severity(told.kind, Severity(given))
    if found is None:
        msg = (
            f"'{Observation.Severity(given).label}' for '{Observation.Kind(told.kind).label}' "
            "is not to be acted on now; record it on the sign at the next visit, or say that "
            "it is worse."
        )
        raise OutOfRangeError(msg)
    return int(found)


def _moment(
    given: datetime | date | None, what: str, agency: Organisation, now: datetime
) -> Known:
    if isinstance(given, datetime):
        if timezone.is_naive(given):
            msg = f"The time {given:%Y-%m-%d %H:%M} has no time zone; send its offset from UTC."
            raise OutOfRangeError(msg)
        if given > now + MOST_AHEAD:
            msg = (
                f"{agency.clock_words(given)} is still to come (it is "
                f"{agency.clock_words(now)}); correct when {what}."
            )
            raise OutOfRangeError(msg)
    elif given is not None and given > agency.day_of(now):
        msg = (
            f"{given:%Y-%m-%d} is still to come (today is {agency.day_of(now):%Y-%m-%d}); "
            f"correct when {what}."
        )
        raise OutOfRangeError(msg)
    return known(given, agency)


def _done(report: DamageReport, done_at: datetime | date | None, now: datetime) -> Known:
    """Return when it was put right; before it was seen, by the day, it cannot have been."""
    agency = report.organisation
    done = _moment(done_at, "it was put right", agency, now)
    if done.at is None or report.reported_at is None:
        return done
    done_on, seen_on = agency.day_of(done.at), agency.day_of(report.reported_at)
    if done_on < seen_on:
        msg = (
            f"It was first seen on {seen_on:%Y-%m-%d} and cannot have been put right before, "
            f"on {done_on:%Y-%m-%d}; correct the day, or correct the report first."
        )
        raise OutOfRangeError(msg)
    return done


def _refuse_told_twice(report: DamageReport) -> None:
    running = (
        DamageStanding.objects.filter(position=report.position, is_open=True, kind=report.kind)
        .select_related("report")
        .order_by("report")
        .first()
    )
    if running is not None:
        when = report.organisation.day_of(first_moment(running.report))
        msg = (
            f"Damage {running.report_id} is open here already: {report.get_kind_display()}, of "
            f"{when:%Y-%m-%d}. If this tells of the same, there is nothing to enter: its clock "
            "runs on. If it is another, confirm it and send it again."
        )
        raise UnlikelyError(msg)


def _refuse_closed(report: DamageReport) -> None:
    standing = DamageStanding.objects.filter(report=report).first()
    if standing is None:
        later = DamageReport.objects.filter(corrects=report).first()
        instead = f"by damage {later.pk}; close that one" if later else "by a later visit"
        msg = f"Damage {report.pk} was corrected {instead}."
        raise StateConflictError(msg)
    if not standing.is_open:
        msg = (
            f"Damage {report.pk} is closed already: {standing.get_way_display()}. Take that "
            "back first if it is wrong."
        )
        raise StateConflictError(msg)


def _check_same_as(report: DamageReport, same_as: DamageReport | None) -> None:
    if same_as is None:
        msg = "Say which other report tells of the same damage; that one stays open."
        raise OutOfRangeError(msg)
    others = {each.report_id for each in others_open(report)}
    if same_as.pk not in others:
        named = ", ".join(str(each) for each in sorted(others)) or "there is none"
        msg = (
            f"Damage {same_as.pk} is not another open report of this place, so it cannot go on "
            f"for damage {report.pk} (open here: {named})."
        )
        raise StateConflictError(msg)


def _read_note(note: str, way: str) -> str:
    note = note.strip()
    check_storable(note, "note")
    if len(note) > LONGEST_NOTE:
        msg = f"The note has {len(note)} characters; at most {LONGEST_NOTE} are kept."
        raise OutOfRangeError(msg)
    if way == Way.NOTHING and not note:
        msg = "Say why there is nothing to do, such as 'the caller meant another road'."
        raise OutOfRangeError(msg)
    return note


def _read_reason(reason: str, what: str) -> str:
    reason = reason.strip()
    check_storable(reason, "reason")
    if not 0 < len(reason) <= LONGEST_NOTE:
        msg = (
            f"Say in a few words why {what} (at most {LONGEST_NOTE} characters; there are "
            f"{len(reason)})."
        )
        raise OutOfRangeError(msg)
    return reason


def _lock_position(position: Position) -> Position:
    """Lock the place where a report counts: that of the sign kept, after a merge."""
    key = positions_kept_for([position.pk]).get(position.pk, position.pk)
    locked: Position = (
        Position.objects.select_for_update(of=("self",))
        .select_related("organisation", "support__road")
        .get(pk=key)
    )
    return locked


def _store(report: DamageReport, verb: str, text: str, now: datetime) -> None:
    report.save()
    rebuild_damage([report.pk], now=now)
    log(
        organisation=report.organisation,
        actor=report.entered_by,
        verb=verb,
        text=text,
        at=now,
        sign=report.sign,
        detail={"damage": report.pk},
    )
    _refresh(report, now)


def _refresh(report: DamageReport, now: datetime) -> None:
    """Show on the face it counts for how it stands now."""
    standing = DamageStanding.objects.filter(report=report).select_related("sign").first()
    if standing is not None and standing.sign is not None:
        refresh_standing(sign=standing.sign, now=now)


def _same(stored: DamageReport, position: Position, told: Told) -> DamageReport:
    if (stored.position_id, stored.kind, stored.channel) == (
        position.pk,
        told.kind,
        told.channel,
    ):
        return stored
    msg = (
        f"Another report was stored under the key {stored.client_uuid} (damage {stored.pk}); "
        "it stays as it is. Send this one under a key of its own."
    )
    raise StateConflictError(msg)


def _words(report: DamageReport) -> str:
    agency = report.organisation
    told = f", {report.told_by}" if report.told_by else ""
    notified = f", known {agency.clock_words(report.notified_at)}" if report.notified_at else ""
    return (
        f"{report.get_kind_display()} at {report.position} ({report.get_channel_display()}"
        f"{told}{notified})"
    )
