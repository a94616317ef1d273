"""Damage that is on record by visits already, and stands, is followed from now on."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from zoneinfo import ZoneInfo

from django.db import migrations
from django.db.models import Exists, OuterRef, Q
from django.utils import timezone

# As they were when this landed; inventory.engineering.inspection.damage has them of today.
GONE = {"missing", "knocked_down"}
WEAR = {"faded", "delaminated", "general", "wrong_sign"}
LOST = ("damaged", "knocked_down", "stolen")
SEVERE, MODERATE = 3, 2
SIGNS_PER_STEP = 500
LEAST_CLASS = 4
# What the safety table has in class 1, for faces that were taken down and have no standing.
CLASS_1_CODES = ("R1-1", "R1-2", "R5-1", "R5-1A")


def take_up(apps, schema_editor):
    """Store a report for everything seen on a face that still stands as damage."""
    Sign = apps.get_model("inventory", "Sign")
    standing_there = Sign.objects.filter(state="installed", position=OuterRef("position"))
    signs = (
        Sign.objects.filter(owner__isnull=False, position__isnull=False)
        .filter(
            Q(state="installed")
            | Q(~Exists(standing_there), state="removed", removal_reason__in=LOST)
        )
        .filter(position__is_retired=False)
    )
    keys = list(signs.order_by("pk").values_list("pk", flat=True))
    now = timezone.now()
    for start in range(0, len(keys), SIGNS_PER_STEP):
        _take_up_step(apps, keys[start : start + SIGNS_PER_STEP], now)


def _take_up_step(apps, keys, now):
    Sign = apps.get_model("inventory", "Sign")
    Report = apps.get_model("inventory", "DamageReport")
    Standing = apps.get_model("inventory", "DamageStanding")
    seen = _damage_of(apps, keys)
    if not seen:
        return
    signs = {
        each.pk: each
        for each in Sign.objects.filter(pk__in=list(seen)).select_related("owner", "position")
    }
    classes = dict(
        apps.get_model("inventory", "Standing")
        .objects.filter(sign__in=list(seen))
        .values_list("sign_id", "safety_class")
    )
    reports, counts_for = [], []
    for sign_id in sorted(seen):
        sign = signs[sign_id]
        for row, since in seen[sign_id]:
            reports.append(
                Report(
                    organisation_id=sign.owner_id,
                    position_id=sign.position_id,
                    sign_id=row["inspection__sign_id"],
                    observation_id=row["pk"],
                    channel="record",
                    kind=row["kind"],
                    severity=SEVERE if row["kind"] in GONE else row["severity"],
                    description=row["note"],
                    reported_at=since["inspection__taken_at"],
                    reported_precision="minute",
                    notified_at=since["inspection__recorded_at"],
                    notified_precision="minute",
                    entered_at=now,
                )
            )
            counts_for.append(sign)
    Report.objects.bulk_create(reports)
    days = {each.owner_id: _times_of(apps, each.owner, now) for each in signs.values()}
    Standing.objects.bulk_create(
        _standing(Standing, report, sign, classes, days[sign.owner_id], now)
        for report, sign in zip(reports, counts_for, strict=True)
    )


def _damage_of(apps, keys):
    """Return what stands as damage on each face, and the look since when it is known."""
    Observation = apps.get_model("inventory", "Observation")
    relinked = dict(
        apps.get_model("inventory", "RelinkedInspection")
        .objects.filter(sign__in=keys, merge__undo__isnull=True)
        .order_by("pk")
        .values_list("inspection_id", "sign_id")
    )
    rows = (
        Observation.objects.filter(
            Q(inspection__sign__in=keys) | Q(inspection__in=list(relinked)),
            inspection__corrections__isnull=True,
        )
        .order_by("inspection__taken_at", "severity", "pk")
        .values(
            "pk",
            "kind",
            "severity",
            "note",
            "inspection_id",
            "inspection__sign_id",
            "inspection__taken_at",
            "inspection__recorded_at",
        )
    )
    newest = defaultdict(dict)
    for row in rows:
        sign_id = relinked.get(row["inspection_id"], row["inspection__sign_id"])
        if row["kind"] == "general" and row["severity"] == 0:
            newest[sign_id] = {
                kind: (look, since)
                for kind, (look, since) in newest[sign_id].items()
                if look["inspection__taken_at"] == row["inspection__taken_at"]
            }
        earlier = newest[sign_id].get(row["kind"])
        is_known = earlier is not None and 0 < row["severity"] <= earlier[0]["severity"]
        newest[sign_id][row["kind"]] = (row, earlier[1] if is_known else row)
    damage = {}
    for sign_id, by_kind in newest.items():
        stands = [pair for pair in by_kind.values() if _is_damage(pair[0])]
        if stands and sign_id in set(keys):
            damage[sign_id] = stands
    return damage


def _is_damage(row):
    if row["kind"] in GONE:
        return row["severity"] > 0
    return row["severity"] >= (SEVERE if row["kind"] in WEAR else MODERATE)


def _times_of(apps, owner, now):
    """Return the agency's zone, and its days for damage as its rules in force have them."""
    zone = ZoneInfo(owner.time_zone)
    policy = (
        apps.get_model("inventory", "AgencyPolicy")
        .objects.filter(organisation=owner, effective_on__lte=now.astimezone(zone).date())
        .order_by("-effective_on", "-version")
        .first()
    )
    return zone, (policy.damage_days if policy is not None else {})


def _standing(model, report, sign, classes, times, now):
    zone, by_severity = times
    name = "severe" if report.severity == SEVERE else "moderate"
    is_class_1 = sign.sign_code.strip().upper() in CLASS_1_CODES
    number = classes.get(sign.pk, 1 if is_class_1 else LEAST_CLASS)
    days = by_severity.get(name, {}).get(str(number))
    notified_on = report.notified_at.astimezone(zone).date()
    due_on = None if days is None else notified_on + timedelta(days=days)
    return model(
        report_id=report.pk,
        organisation_id=report.organisation_id,
        position_id=report.position_id,
        sign_id=sign.pk,
        kind=report.kind,
        severity=report.severity,
        safety_class=number,
        is_open=True,
        notified_on=notified_on,
        counted_from_on=notified_on,
        due_on=due_on,
        sort_on=due_on or notified_on,
        rebuilt_at=now,
    )


class Migration(migrations.Migration):
    dependencies = [("inventory", "0010_damage")]

    operations = [migrations.RunPython(take_up, migrations.RunPython.noop)]
