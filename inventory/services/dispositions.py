"""The signs that wait for a decision today, and deciding about several of them at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Coalesce
from django.utils import timezone

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.models import Standing
from inventory.services.assessment import decide_disposition
from inventory.services.method_coverage import NOW, as_known, coverage
from inventory.services.method_findings import (
    SignVerdict,
    Verdicts,
    findings_on,
    seen_on,
)

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import date, datetime

    from inventory.models import Disposition, Organisation, Sign, User
    from inventory.services.method_findings import Finding


def waiting_for_decision(
    *, organisation: Organisation, now: datetime | None = None
) -> list[Finding]:
    """Return the agency's own signs about which no decision stands today, oldest first."""
    now = now or timezone.now()
    today = organisation.day_of(now)
    asked = as_known(organisation, today, NOW, today=today)
    covered = coverage(asked)
    standings = Standing.objects.owned_by(organisation).values_list(
        "sign_id",
        "verdict",
        "reason",
        Coalesce(F("assessment__inspection__taken_at"), F("assessment__assessed_at")),
    )
    verdicts = Verdicts(
        {
            sign_id: SignVerdict(Verdict(verdict), reason, read_at)
            for sign_id, verdict, reason, read_at in standings
        }
    )
    found = findings_on(asked, covered, verdicts, seen_on(asked))
    return [each for each in found if not each.is_decided]


@transaction.atomic
def decide_about_signs(
    *,
    signs: Iterable[Sign],
    decision: str,
    by: User | None,
    reason: str = "",
    defer_until_on: date | None = None,
    now: datetime | None = None,
) -> list[Disposition]:
    """Record the same decision about several signs, about all of them or about none."""
    now = now or timezone.now()
    # Locked one after the other: always in the same order.
    return [
        decide_disposition(
            sign=sign,
            decision=decision,
            by=by,
            reason=reason,
            defer_until_on=defer_until_on,
            now=now,
        )
        for sign in sorted(signs, key=lambda each: each.pk)
    ]
