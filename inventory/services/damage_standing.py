"""How each report of damage stands: derived from the facts, for lists and pages."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, time, timedelta
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q

from inventory.engineering.assessment.due import put_right_by, read_damage_days
from inventory.engineering.inspection.condition import Observed
from inventory.engineering.inspection.damage import OUTLIVES_THE_FACE
from inventory.engineering.inspection.vocabulary import Severity
from inventory.engineering.standards.safety import remaining_class, safety_class
from inventory.models import (
    AgencyPolicy,
    DamageClosure,
    DamageReport,
    DamageStanding,
    Observation,
    Position,
    Sign,
)
from inventory.models.damage import ClockPrecision
from inventory.services.judging import sign_type_of
from inventory.services.relinks import positions_kept_for, signs_kept_for
from inventory.services.standards import code_book

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence
    from datetime import date

    from inventory.engineering.standards.local import CodeBook
    from inventory.models import Organisation

Way = DamageClosure.Way
REPORTS_PER_STEP = 500
_ONE_MOMENT = timedelta(microseconds=1)
_DERIVED = [
    field.name for field in DamageStanding._meta.concrete_fields if not field.primary_key
]


class Place(NamedTuple):
    """Where a report counts, and for which face."""

    position: Position
    sign: Sign | None


def rebuild_damage(report_ids: Iterable[int], *, now: datetime) -> list[DamageStanding]:
    """
    Write how reports stand, within the caller's transaction; return those that count.

    A report that was corrected, or seen on a visit that was, counts no more: it has no row.
    Who closes a report and who rebuilds it take their turns at its row.
    """
    wanted = sorted(set(report_ids))
    if not wanted:
        return []
    rows_there = DamageStanding.objects.select_for_update().filter(report__in=wanted)
    list(rows_there.order_by("report").values_list("report", flat=True))
    reports = list(
        DamageReport.objects.filter(pk__in=wanted)
        .select_related("organisation", "position", "sign")
        .order_by("pk")
    )
    corrected = set(
        DamageReport.objects.filter(pk__in=wanted)
        .filter(
            Q(correction__isnull=False) | Q(observation__inspection__corrections__isnull=False)
        )
        .values_list("pk", flat=True)
    )
    DamageStanding.objects.filter(report__in=corrected).delete()
    counting = [each for each in reports if each.pk not in corrected]
    closures = closures_of(counting)
    places = _places_of(counting)
    rules = _Rules(counting)
    rows = [_row(each, places[each.pk], closures.get(each.pk), rules, now) for each in counting]
    DamageStanding.objects.bulk_create(
        rows, update_conflicts=True, unique_fields=["report"], update_fields=_DERIVED
    )
    return rows


def rebuild_damage_of_signs(sign_ids: Iterable[int], *, now: datetime) -> None:
    """Write how every report on these faces stands: after a merge, or its undoing."""
    keys = set(sign_ids)
    reports = DamageReport.objects.filter(Q(sign__in=keys) | Q(standing__sign__in=keys))
    rebuild_damage(list(reports.values_list("pk", flat=True)), now=now)


def rebuild_open_damage(
    organisation: Organisation,
    *,
    now: datetime,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """
    Write how all open damage of an agency stands, after its times or classes changed.

    Each step is a transaction of its own: broken off, it is simply run again.
    """
    rows = DamageStanding.objects.owned_by(organisation).filter(is_open=True)
    keys = list(rows.order_by("report").values_list("report", flat=True))
    for start in range(0, len(keys), REPORTS_PER_STEP):
        step = keys[start : start + REPORTS_PER_STEP]
        with transaction.atomic():
            rebuild_damage(step, now=now)
        if progress is not None:
            progress(start + len(step), len(keys))
    return len(keys)


def closures_of(reports: Sequence[DamageReport]) -> dict[int, DamageClosure]:
    """
    Return what put each report right and was not taken back, the newest first.

    What put a report right that was corrected later counts for its correction.
    """
    stands_for = {each.pk: each.pk for each in reports}
    waiting = {each.corrects_id: each.pk for each in reports if each.corrects_id}
    while waiting:
        stands_for |= waiting
        earlier = DamageReport.objects.filter(pk__in=list(waiting), corrects__isnull=False)
        waiting = {
            corrects: stands_for[key]
            for key, corrects in earlier.values_list("pk", "corrects_id")
            if corrects not in stands_for
        }
    found: dict[int, DamageClosure] = {}
    rows = DamageClosure.objects.filter(
        report__in=list(stands_for),
        reopening__isnull=True,
        inspection__corrections__isnull=True,
    )
    for closure in rows.select_related("same_as").order_by("-recorded_at", "-pk"):
        found.setdefault(stands_for[closure.report_id], closure)
    return found


def damage_looks(sign_ids: Sequence[int]) -> dict[int, list[Observed]]:
    """
    Return reports of damage on faces as if each had been looked at, for how a face stands.

    What was told at the desk nobody saw on a visit; and what was put right is a look that
    found that kind of damage gone.
    """
    looks: dict[int, list[Observed]] = defaultdict(list)
    rows = DamageStanding.objects.filter(sign__in=sign_ids).order_by("report")
    for row in rows.select_related("report"):
        if row.is_open:
            looks[row.sign_id or 0].append(_as_seen(row))
        elif row.over_at is not None:
            words = Observation.Kind(row.kind).label
            looks[row.sign_id or 0].append(
                Observed(row.kind, Severity.NONE, words, row.over_at, row.over_at)
            )
    return looks


def first_moment(report: DamageReport) -> datetime:
    """Return the first moment known of a report: seen, else told, else written down."""
    moment: datetime = report.reported_at or report.notified_at or report.entered_at
    return moment


def counted_from(report: DamageReport) -> datetime:
    """Return the moment its time counts from: when the agency knew, as far as is known."""
    moment: datetime = report.notified_at or report.entered_at
    return moment


def _as_seen(row: DamageStanding) -> Observed:
    report = row.report
    words = Observation.Kind(row.kind).label
    return Observed(
        row.kind, Severity(row.severity), words, first_moment(report), counted_from(report)
    )


class _Rules:
    """Classes of codes and times for damage of the agencies whose reports are rebuilt."""

    def __init__(self, reports: Sequence[DamageReport]) -> None:
        agencies = {each.organisation_id: each.organisation for each in reports}
        self._books: dict[int, CodeBook] = {
            key: code_book(agency) for key, agency in agencies.items()
        }
        self._policies: dict[int, list[AgencyPolicy]] = defaultdict(list)
        rows = AgencyPolicy.objects.filter(organisation__in=list(agencies))
        for policy in rows.order_by("-effective_on", "-version").only(
            "organisation_id", "effective_on", "damage_days"
        ):
            self._policies[policy.organisation_id].append(policy)

    def class_of(self, report: DamageReport, place: Place) -> int:
        book = self._books[report.organisation_id]
        codes = (place.sign.sign_code if place.sign else "", place.position.sign_code)
        for code in codes:
            sign_type = sign_type_of(code, book)
            if sign_type is not None:
                return safety_class(sign_type).number
        return remaining_class().number

    def days_at(self, agency_id: int, day: date) -> Mapping[tuple[Severity, int], int]:
        """Return the times in force on a day."""
        for policy in self._policies[agency_id]:
            if policy.effective_on <= day:
                return read_damage_days(policy.damage_days)
        return {}


def _row(
    report: DamageReport,
    place: Place,
    closure: DamageClosure | None,
    rules: _Rules,
    now: datetime,
) -> DamageStanding:
    agency = report.organisation
    number = rules.class_of(report, place)
    counted_on = agency.day_of(counted_from(report))
    over = None if closure is None else over_at(report, closure)
    by_rules_of = agency.day_of(now if over is None else over)
    days = rules.days_at(agency.pk, by_rules_of)
    severity = Severity(report.severity)
    has_target = (severity, number) in days
    last_on, _ = put_right_by(
        severity=severity,
        safety_class=number,
        seen_on=counted_on,
        notified_on=counted_on,
        damage_days=days,
    )
    done_at = None if closure is None else closure.done_at
    return DamageStanding(
        report=report,
        organisation=agency,
        position=place.position,
        sign=place.sign,
        kind=report.kind,
        severity=report.severity,
        safety_class=number,
        is_open=closure is None,
        way="" if closure is None else closure.way,
        notified_on=agency.day_of(report.notified_at) if report.notified_at else None,
        counted_from_on=counted_on,
        due_on=last_on if has_target else None,
        sort_on=last_on,
        done_on=None if done_at is None else agency.day_of(done_at),
        over_at=over if clears_the_look(report, closure) else None,
        rebuilt_at=now,
    )


def clears_the_look(report: DamageReport, closure: DamageClosure | None) -> bool:
    """Return whether a closure says that what was seen on this face is gone."""
    if closure is None or closure.way == Way.NEW_FACE:
        return False
    if closure.way == Way.SAME and closure.same_as is not None:
        return closure.same_as.kind != report.kind
    return True


def over_at(report: DamageReport, closure: DamageClosure) -> datetime:
    """Return the moment from which damage was over: after it was seen, by what is known."""
    moment: datetime = closure.done_at or closure.recorded_at
    if closure.done_precision == ClockPrecision.DAY and closure.done_at is not None:
        zone = ZoneInfo(report.organisation.time_zone)
        day = closure.done_at.astimezone(zone).date()
        moment = min(datetime.combine(day, time.max, zone), closure.recorded_at)
    return max(moment, first_moment(report) + _ONE_MOMENT)


def _places_of(reports: Sequence[DamageReport]) -> dict[int, Place]:
    """Return where each report counts: records that were merged stand for the one kept."""
    kept_sign = signs_kept_for({each.sign_id for each in reports if each.sign_id})
    kept_place = positions_kept_for({each.position_id for each in reports})
    signs = {
        each.pk: each
        for each in Sign.objects.filter(pk__in=set(kept_sign.values())).select_related(
            "position"
        )
    }
    positions = Position.objects.in_bulk(list(set(kept_place.values())))
    places: dict[int, Place] = {}
    for report in reports:
        sign = report.sign
        position = positions.get(kept_place.get(report.position_id, 0), report.position)
        if sign is not None and sign.pk in kept_sign:
            sign = signs[kept_sign[sign.pk]]
            position = sign.position or position
        places[report.pk] = Place(position, sign)
    return _on_the_face_there_now(reports, places)


def _on_the_face_there_now(
    reports: Sequence[DamageReport], places: dict[int, Place]
) -> dict[int, Place]:
    """Let what a new face does not put right, or was told of no face, count for the new one."""
    moving = {
        report.pk
        for report in reports
        if places[report.pk].sign is None
        or (
            report.kind in OUTLIVES_THE_FACE
            and places[report.pk].sign.state == Sign.State.REMOVED  # type: ignore[union-attr]
        )
    }
    there = (
        {
            each.position_id: each
            for each in Sign.objects.filter(
                position__in={places[key].position.pk for key in moving},
                state=Sign.State.INSTALLED,
            )
        }
        if moving
        else {}
    )
    return {
        key: Place(place.position, there.get(place.position.pk, place.sign))
        if key in moving
        else place
        for key, place in places.items()
    }
