"""A layout is changed by hand: faces kept where they lie, left out, or taken earlier."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LaidPiece, LayoutPlan, PlannedFace
from inventory.services.logbook import log
from inventory.services.ordering.layouts.making import MOST_RANK, lock_draft

if TYPE_CHECKING:
    from collections.abc import Collection
    from datetime import datetime

    from inventory.models import User


@transaction.atomic
def keep_in_place(*, plan: LayoutPlan, numbers: Collection[int], is_kept: bool = True) -> int:
    """
    Fix faces where they lie, with all their pieces, or set them free; return how many.

    The next search lays the others around those that are fixed.
    """
    plan = lock_draft(plan)
    faces = _faces(plan, numbers)
    loose = [face.number for face in faces if face.load_id is None]
    if loose and is_kept:
        msg = f"Face {loose[0]} lies on no roll; there is no place to keep it in."
        raise StateConflictError(msg)
    LaidPiece.objects.filter(face__in=faces).update(is_pinned=is_kept)
    return len(faces)


@transaction.atomic
def leave_out(*, plan: LayoutPlan, numbers: Collection[int], is_out: bool = True) -> int:
    """
    Leave faces out of a layout, or take them in again; return how many.

    What is left out comes off its roll at once; what is taken in again is laid by the next
    search. The length of the roll stays as it is until then.
    """
    plan = lock_draft(plan)
    faces = _faces(plan, numbers)
    for face in faces:
        face.is_left_out = is_out
        if is_out:
            face.load = None
        face.not_laid_reason = "Left out by hand." if is_out else "Not laid out yet."
    PlannedFace.objects.bulk_update(
        faces, ["is_left_out", "load", "not_laid_reason"], batch_size=500
    )
    if is_out:
        LaidPiece.objects.filter(face__in=faces).delete()
        plan.loads.filter(pieces__isnull=True).delete()
    return len(faces)


@transaction.atomic
def set_rank(*, plan: LayoutPlan, numbers: Collection[int], due_rank: int) -> int:
    """Say how urgent faces are, 1 coming off first; the next search keeps to it."""
    plan = lock_draft(plan)
    if not 1 <= due_rank <= MOST_RANK:
        msg = f"A place of {due_rank} in the order is out of range; give 1 to {MOST_RANK}."
        raise OutOfRangeError(msg)
    faces = _faces(plan, numbers)
    PlannedFace.objects.filter(pk__in=[face.pk for face in faces]).update(due_rank=due_rank)
    return len(faces)


@transaction.atomic
def drop_plan(
    *, plan: LayoutPlan, by: User | None = None, now: datetime | None = None
) -> LayoutPlan:
    """Drop a layout that is not frozen; it stays on record."""
    plan = lock_draft(plan)
    plan.state = LayoutPlan.State.DROPPED
    plan.save(update_fields=["state"])
    log(
        organisation=plan.organisation,
        actor=by,
        verb="drop layout",
        text=f"Order {plan.order.number}: a layout of {plan.faces.count()} faces dropped.",
        at=now or timezone.now(),
        order=plan.order,
    )
    return plan


def _faces(plan: LayoutPlan, numbers: Collection[int]) -> list[PlannedFace]:
    wanted = set(numbers)
    if not wanted:
        msg = "No face is picked; pick at least one."
        raise OutOfRangeError(msg)
    faces = list(plan.faces.filter(number__in=wanted).order_by("number"))
    missing = wanted - {face.number for face in faces}
    if missing:
        msg = f"This layout has no face {min(missing)}; look at it again."
        raise OutOfRangeError(msg)
    return faces
