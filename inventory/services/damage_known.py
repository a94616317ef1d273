"""Damage as it was known at the end of a day, or as it is known now."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef

from inventory.engineering.inspection.condition import Observed
from inventory.engineering.inspection.vocabulary import Severity
from inventory.models import DamageClosure, DamageReopening, DamageReport, Observation
from inventory.services.damage_standing import (
    clears_the_look,
    counted_from,
    first_moment,
    over_at,
)
from inventory.services.relinks import signs_kept_for

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.services.method_coverage import AsKnown


def damage_looks_known(asked: AsKnown) -> dict[int, list[Observed]]:
    """
    Return what was told at the desk, and what was put right, as if each had been looked at.

    As known then: what was written down by the end of the day. As known now: what had happened
    by then, whenever it was written down. Merges of signs count as they stand today.
    """
    corrections = DamageReport.objects.filter(
        asked.by_then("entered_at"), corrects=OuterRef("pk")
    )
    reports = [
        each
        for each in DamageReport.objects.owned_by(asked.organisation)
        .filter(asked.by_then("entered_at"), ~Exists(corrections), sign__isnull=False)
        .select_related("organisation")
        .order_by("pk")
        if first_moment(each) < asked.end
    ]
    kept = signs_kept_for({each.sign_id for each in reports if each.sign_id})
    looks: dict[int, list[Observed]] = defaultdict(list)
    for report in reports:
        if report.observation_id is None:
            looks[_sign_of(report, kept)].append(
                _look(report, Severity(report.severity), first_moment(report))
            )
    taken_back = DamageReopening.objects.filter(
        asked.by_then("reopened_at"), closure=OuterRef("pk")
    )
    closures = DamageClosure.objects.filter(
        asked.by_then("recorded_at"), ~Exists(taken_back), report__in=reports
    )
    report_of = {each.pk: each for each in reports}
    for closure in closures.select_related("same_as").order_by("recorded_at", "pk"):
        report = report_of[closure.report_id]
        over = over_at(report, closure)
        if clears_the_look(report, closure) and over < asked.end:
            looks[_sign_of(report, kept)].append(_look(report, Severity.NONE, over))
    return looks


def _sign_of(report: DamageReport, kept: dict[int, int]) -> int:
    key = report.sign_id or 0
    return kept.get(key, key)


def _look(report: DamageReport, severity: Severity, at: datetime) -> Observed:
    words = Observation.Kind(report.kind).label
    return Observed(report.kind, severity, words, at, counted_from(report))
