"""What an agency has decided about signs beside their forecast: they wait, or go in a round."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from django.db.models import F, Q

from inventory.models import (
    ClaimFace,
    Disposition,
    MethodAssignment,
    MethodGroup,
    Sign,
    WarrantyClaim,
)
from inventory.services.method_ages import replacement_by_age

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date

    from inventory.engineering.assessment.due import Cause
    from inventory.models import Organisation

ROWS_AT_ONCE = 2_000
SIGNS_AT_ONCE = 500


class Wait(NamedTuple):
    """A sign is not replaced before a year; an unsafe one before an earlier year, or none."""

    until_year: int
    until_year_if_unsafe: int = 0  # 0: an unsafe sign does not wait

    def until(self, *, is_unsafe: bool) -> int:
        """Return the year a sign waits for, as unsafe as it is; 0: it does not wait."""
        return self.until_year_if_unsafe if is_unsafe else self.until_year

    def and_also(self, other: Wait) -> Wait:
        """Return the wait of a sign that waits for both."""
        return Wait(*map(max, self, other))


def waits_of(agency: Organisation) -> dict[int, Wait]:
    """
    Return which signs wait, until which year, by sign; of several waits each holds.

    Whatever makes signs wait is one of ``WAIT_SOURCES``: what was decided, and claims.
    """
    found: dict[int, Wait] = {}
    for source in WAIT_SOURCES:
        for sign_id, wait in source(agency).items():
            known = found.get(sign_id)
            found[sign_id] = wait if known is None else wait.and_also(known)
    return found


def decided_waits(agency: Organisation) -> dict[int, Wait]:
    """
    Return the signs whose newest decision is to wait; a person decided, having seen it.

    To wait for a claim under warranty ends where the sign is unsafe: the claim is worth a
    face, not a dark sign.
    """
    newest: dict[int, tuple[str, date | None]] = {}
    rows = Disposition.objects.owned_by(agency).order_by("decided_at", "pk")
    for sign_id, decision, until in rows.values_list(
        "sign_id", "decision", "defer_until_on"
    ).iterator(chunk_size=ROWS_AT_ONCE):
        newest[sign_id] = (decision, until)
    return {
        sign_id: Wait(until.year, 0 if decision == Disposition.Decision.CLAIM else until.year)
        for sign_id, (decision, until) in newest.items()
        if decision in (Disposition.Decision.DEFER, Disposition.Decision.CLAIM)
        and until is not None
    }


def claimed_waits(agency: Organisation) -> dict[int, Wait]:
    """
    Return the signs of claims that are with the shop or its supplier: until the answer is due.

    The face has to stand there to be looked at; where it is unsafe that goes before.
    """
    faces = ClaimFace.objects.owned_by(agency).filter(
        claim__state__in=(WarrantyClaim.State.SENT, WarrantyClaim.State.PASSED_ON)
    )
    return {
        sign_id: Wait(due_on.year)
        for sign_id, due_on in faces.order_by("claim__answer_due_on", "pk").values_list(
            "sign_id", "claim__answer_due_on"
        )
    }


WAIT_SOURCES: tuple[Callable[[Organisation], dict[int, Wait]], ...] = (
    decided_waits,
    claimed_waits,
)


def rounds_of(agency: Organisation, today: date) -> dict[int, Cause]:
    """Return when signs of blanket areas go by the method of record, with why, by sign."""
    areas = MethodAssignment.objects.owned_by(agency).filter(
        Q(until_on__isnull=True) | Q(until_on__gt=today),
        Q(group__ended_on__isnull=True) | Q(group__ended_on__gt=today),
        group__method=MethodGroup.Method.BLANKET,
        position__organisation=F("group__organisation"),
        from_on__lte=today,
    )
    signs = Sign.objects.filter(
        state=Sign.State.INSTALLED, position__in=areas.order_by().values("position")
    ).order_by("pk")
    found: dict[int, Cause] = {}
    batch: list[Sign] = []
    for sign in signs.iterator(chunk_size=SIGNS_AT_ONCE):
        batch.append(sign)
        if len(batch) == SIGNS_AT_ONCE:
            found |= replacement_by_age(batch, today=today)
            batch = []
    if batch:
        found |= replacement_by_age(batch, today=today)
    return found
