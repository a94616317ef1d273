"""What a person decides of a programme: a sign's year is locked, a programme adopted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import PlannedReplacement, Programme
from inventory.services.logbook import log
from inventory.services.programme.reasons import locked_words

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import User


@transaction.atomic
def lock_replacement(
    *,
    planned: PlannedReplacement,
    year: int | None,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> PlannedReplacement:
    """
    Lock a position to a year, or to none; solving keeps it.

    Later than the sign must be replaced is allowed: a person answers for it, and the programme
    says so.
    """
    row = _draft_row(planned)
    programme = row.programme
    reason = reason.strip()
    if not reason:
        msg = "Say why it is locked; whoever reads the programme next asks."
        raise OutOfRangeError(msg)
    last = programme.first_year + programme.years - 1
    if year is not None and not programme.first_year <= year <= last:
        msg = (
            f"The year {year} is not of this programme; it has {programme.first_year} to "
            f"{last}."
        )
        raise OutOfRangeError(msg)
    most = PlannedReplacement._meta.get_field("lock_reason").max_length or 0
    if len(reason) > most:
        msg = f"The reason has {len(reason)} characters; at most {most} are kept. Shorten it."
        raise OutOfRangeError(msg)
    row.year, row.is_locked, row.lock_reason = year, True, reason
    row.reason = locked_words(year, row.must_by_year)
    row.save(update_fields=["year", "is_locked", "lock_reason", "reason"])
    _log_lock(row, f"locked to {year or 'no year'}: {reason}", by, now)
    return row


@transaction.atomic
def unlock_replacement(
    *, planned: PlannedReplacement, by: User | None = None, now: datetime | None = None
) -> PlannedReplacement:
    """Let solving choose a position's year again."""
    row = _draft_row(planned)
    row.is_locked, row.lock_reason = False, ""
    row.save(update_fields=["is_locked", "lock_reason"])
    _log_lock(row, "unlocked", by, now)
    return row


@transaction.atomic
def adopt(
    *, programme: Programme, by: User | None = None, now: datetime | None = None
) -> Programme:
    """Make a solved programme the one the agency works by; the one before it ends."""
    now = now or timezone.now()
    type(programme.organisation).objects.select_for_update().get(pk=programme.organisation_id)
    locked: Programme = Programme.objects.select_for_update().get(pk=programme.pk)
    _check_not_running(locked)
    if locked.state != Programme.State.DRAFT or locked.solved_at is None:
        msg = f"'{locked.name}' is {locked.get_state_display()}; a solved draft can be adopted."
        raise StateConflictError(msg)
    Programme.objects.filter(
        organisation=locked.organisation_id, state=Programme.State.ADOPTED
    ).update(state=Programme.State.ENDED)
    locked.state, locked.adopted_at = Programme.State.ADOPTED, now
    locked.save(update_fields=["state", "adopted_at"])
    log(
        organisation=locked.organisation,
        actor=by,
        verb="adopt programme",
        text=f"Programme '{locked.name}' is the one the agency works by.",
        at=now,
    )
    return locked


def _draft_row(planned: PlannedReplacement) -> PlannedReplacement:
    """Return a row of a draft locked; the programme first, as whoever stores a plan does."""
    programme: Programme = (
        Programme.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=planned.programme_id)
    )
    if programme.state != Programme.State.DRAFT:
        msg = f"'{programme.name}' is {programme.get_state_display()}; only a draft changes."
        raise StateConflictError(msg)
    _check_not_running(programme)
    row: PlannedReplacement | None = (
        PlannedReplacement.objects.select_for_update()
        .filter(programme=programme, position=planned.position_id)
        .first()
    )
    if row is None:
        msg = (
            f"The years of '{programme.name}' were chosen anew meanwhile, without this place; "
            "load the page again."
        )
        raise StateConflictError(msg)
    row.programme = programme
    return row


def _check_not_running(programme: Programme) -> None:
    """Refuse a change while years are being chosen: it would be lost, or half of it."""
    if programme.runs.filter(finished_at__isnull=True).exists():
        msg = f"The years of '{programme.name}' are being chosen; wait, or stop it first."
        raise StateConflictError(msg)


def _log_lock(
    row: PlannedReplacement, words: str, by: User | None, now: datetime | None
) -> None:
    log(
        organisation=row.programme.organisation,
        actor=by,
        verb="lock replacement",
        text=f"In '{row.programme.name}' the sign is {words}.",
        at=now or timezone.now(),
        sign=row.sign,
    )
