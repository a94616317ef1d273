"""Damage as visits tell of it: a report where some was seen, its end where it is gone."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.engineering.inspection.condition import GENERAL
from inventory.engineering.inspection.damage import damage_severity
from inventory.engineering.inspection.vocabulary import Severity
from inventory.models import (
    DamageClosure,
    DamageReport,
    DamageStanding,
    Inspection,
    Observation,
)
from inventory.models.damage import ClockPrecision
from inventory.services.damage_closing import Known, close_many, closing_by_faces
from inventory.services.damage_standing import first_moment, rebuild_damage
from inventory.services.logbook import entry, log_many
from inventory.services.relinks import counts_for, relinked_to

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from inventory.services.logbook import Entry

Looks = dict[Inspection, list[Observation]]
Closing = tuple[DamageReport, DamageClosure]


@dataclass(slots=True)
class _Open:
    """A report that runs on a face, stored before or made in this step."""

    report: DamageReport
    severity: int
    closure: DamageClosure | None = None


def note_visits(
    looks: Mapping[Inspection, Sequence[Observation]],
    *,
    now: datetime,
    channel: str = DamageReport.Channel.VISIT,
) -> None:
    """
    Report the damage that was seen on stored visits, and close what was found in order.

    Within the caller's transaction, the signs locked. ``channel`` says how it came to be known,
    where it was not by the visit itself. The same damage seen again, no worse,
    is known already: its clock runs on. A visit that corrects another has its damage known
    since the other told of it.
    """
    visits = {visit: list(seen) for visit, seen in looks.items() if seen or visit.corrects_id}
    if not visits:
        return
    earlier = _dropped_by_corrections(visits, now)
    running = _running_on({visit.sign_id for visit in visits})
    made: list[_Open] = []
    ended: list[_Open] = []
    for visit in sorted(visits, key=lambda each: (each.taken_at, each.pk)):
        seen = visits[visit]
        ended += _end(running[visit.sign_id], visit, seen)
        for one in seen:
            new = _begin(running[visit.sign_id], visit, one, earlier, channel)
            if new is not None:
                running[visit.sign_id].append(new)
                made.append(new)
    _store(made, ended, now)


def _running_on(sign_ids: set[int]) -> dict[int, list[_Open]]:
    running: dict[int, list[_Open]] = defaultdict(list)
    rows = DamageStanding.objects.filter(sign__in=sign_ids, is_open=True).order_by("report")
    for row in rows.select_related("report__organisation"):
        running[row.sign_id or 0].append(_Open(row.report, row.severity))
    return running


def _end(
    running: Sequence[_Open], visit: Inspection, seen: Sequence[Observation]
) -> list[_Open]:
    """Mark as over what a later look found gone, or no longer so bad."""
    kinds = {one.kind for one in seen}
    is_sound = any(
        one.kind == GENERAL and Severity(one.severity) is Severity.NONE for one in seen
    )
    gone = {
        one.kind for one in seen if damage_severity(one.kind, Severity(one.severity)) is None
    }
    ended = []
    for each in running:
        kind = each.report.kind
        is_gone = kind in gone or (is_sound and kind not in kinds)
        if each.closure is None and is_gone and first_moment(each.report) < visit.taken_at:
            each.closure = _found_sound(each.report, visit)
            ended.append(each)
    return ended


def _begin(
    running: Sequence[_Open],
    visit: Inspection,
    one: Observation,
    earlier: Mapping[tuple[int, str], DamageReport],
    channel: str,
) -> _Open | None:
    """Return the report of something seen; ``None`` where it is no damage, or known."""
    severity = damage_severity(one.kind, Severity(one.severity))
    if severity is None or visit.sign.position_id is None:
        return None
    is_known = any(
        each.closure is None and each.report.kind == one.kind and each.severity >= severity
        for each in running
    )
    if is_known:
        return None
    corrects = earlier.get((visit.corrects_id or 0, one.kind))
    notified = Known(visit.recorded_at, ClockPrecision.MINUTE)
    if corrects is not None:
        notified = Known(corrects.notified_at, corrects.notified_precision)
    return _Open(
        DamageReport(
            organisation=visit.organisation,
            position_id=visit.sign.position_id,
            sign=visit.sign,
            observation=one,
            corrects=corrects,
            channel=channel,
            kind=one.kind,
            severity=severity,
            description=one.note,
            reported_at=visit.taken_at,
            reported_precision=ClockPrecision.MINUTE,
            notified_at=notified.at,
            notified_precision=notified.precision,
            entered_at=visit.recorded_at,
            entered_by=visit.inspector,
        ),
        severity,
    )


def _store(made: Sequence[_Open], ended: Sequence[_Open], now: datetime) -> None:
    reports = [each.report for each in made]
    DamageReport.objects.bulk_create(reports)
    log_many(_entry(report, now) for report in reports)
    rebuild_damage([each.pk for each in reports], now=now)
    closing = {each.report.pk: (each.report, each.closure) for each in ended if each.closure}
    still_open = [each.report for each in made if each.closure is None]
    if still_open:
        closing |= {
            report.pk: (report, how) for report, how in closing_by_faces(still_open, now=now)
        }
        left = [each for each in still_open if each.pk not in closing]
        closing |= _by_later_looks(left) if left else {}
    close_many(list(closing.values()), now=now)


def _by_later_looks(reports: Sequence[DamageReport]) -> dict[int, Closing]:
    """Return how reports are over that came in late, after a look that found them gone."""
    sign_ids = [each.sign_id for each in reports if each.sign_id]
    relinked = relinked_to(sign_ids)
    looks: dict[int, list[Observation]] = defaultdict(list)
    rows = Observation.objects.filter(
        counts_for(sign_ids, relinked, "inspection__"),
        inspection__corrections__isnull=True,
        inspection__taken_at__gt=min(first_moment(each) for each in reports),
    )
    for row in rows.select_related("inspection").order_by("inspection__taken_at", "pk"):
        visit = row.inspection
        looks[relinked.get(visit.pk, visit.sign_id)].append(row)
    found: dict[int, Closing] = {}
    for report in reports:
        later = [
            one
            for one in looks[report.sign_id or 0]
            if one.inspection.taken_at > first_moment(report)
        ]
        gone = next((one for one in later if _says_gone(one, report.kind)), None)
        if gone is not None:
            found[report.pk] = (report, _found_sound(report, gone.inspection))
    return found


def _says_gone(one: Observation, kind: str) -> bool:
    severity = Severity(one.severity)
    is_sound = one.kind == GENERAL and severity is Severity.NONE
    return is_sound or (one.kind == kind and damage_severity(kind, severity) is None)


def _found_sound(report: DamageReport, visit: Inspection) -> DamageClosure:
    return DamageClosure(
        report=report,
        way=DamageClosure.Way.FOUND_SOUND,
        done_at=visit.taken_at,
        done_precision=ClockPrecision.MINUTE,
        recorded_at=visit.recorded_at,
        done_by=visit.inspector,
        inspection=visit,
    )


def _dropped_by_corrections(
    visits: Looks, now: datetime
) -> dict[tuple[int, str], DamageReport]:
    """
    Drop what visits told of that were corrected; return it by visit and kind.

    What a corrected visit had found in order is open again; and a later visit that had seen
    the same damage, which was known then, is the first to tell of it now: it joins ``visits``.
    """
    corrected = {visit.corrects_id for visit in visits if visit.corrects_id}
    if not corrected:
        return {}
    reports = list(
        DamageReport.objects.filter(
            observation__inspection__in=corrected, correction__isnull=True
        )
        .select_related("observation")
        .order_by("pk")
    )
    closed = DamageReport.objects.filter(closures__inspection__in=corrected)
    rebuild_damage(
        [each.pk for each in reports] + list(closed.values_list("pk", flat=True)), now=now
    )
    if reports:
        _join_those_who_saw_it_too(visits, reports)
    return {
        (each.observation.inspection_id, each.kind): each
        for each in reports
        if each.observation is not None
    }


def _join_those_who_saw_it_too(visits: Looks, dropped: Sequence[DamageReport]) -> None:
    since = min(first_moment(each) for each in dropped)
    rows = Observation.objects.filter(
        inspection__sign__in={each.sign_id for each in dropped},
        inspection__taken_at__gte=since,
        inspection__corrections__isnull=True,
        kind__in={each.kind for each in dropped},
        damage_report__isnull=True,
    )
    for row in rows.select_related(
        "inspection__sign", "inspection__organisation", "inspection__inspector"
    ).order_by("inspection__taken_at", "pk"):
        if row.inspection not in visits or row not in visits[row.inspection]:
            visits.setdefault(row.inspection, []).append(row)


def _entry(report: DamageReport, now: datetime) -> Entry:
    agency = report.organisation
    seen = f"seen {agency.clock_words(report.reported_at)}" if report.reported_at else ""
    return entry(
        organisation=agency,
        actor=report.entered_by,
        verb="report damage",
        text=f"Damage {report.pk}: {report.get_kind_display()}, {seen}.",
        at=now,
        sign=report.sign,
        detail={"damage": report.pk},
    )
