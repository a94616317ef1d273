"""A row of each record of damage."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import DamageClosure, DamageReopening, DamageReport, DamageStanding
from tests.factories import NOW, position_of

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign


def fill_damage(agency: Organisation, sign: Sign) -> None:
    """Tell of a sign down by telephone, put right and found down again."""
    report = DamageReport.objects.create(
        organisation=agency,
        position=position_of(sign),
        sign=sign,
        channel="call",
        kind="knocked_down",
        severity=3,
        told_by="a caller",
        notified_at=NOW,
        notified_precision="minute",
        entered_at=NOW,
    )
    closure = DamageClosure.objects.create(
        report=report, way="repaired", done_at=NOW, done_precision="day", recorded_at=NOW
    )
    DamageReopening.objects.create(closure=closure, reason="another post", reopened_at=NOW)
    DamageStanding.objects.create(
        report=report,
        organisation=agency,
        position=report.position,
        sign=sign,
        kind="knocked_down",
        severity=3,
        safety_class=1,
        is_open=True,
        notified_on=NOW.date(),
        counted_from_on=NOW.date(),
        sort_on=NOW.date(),
        rebuilt_at=NOW,
    )
