"""A layout is frozen: from then on its faces and its length of roll are spoken for."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LayoutPlan, PrintOrder, SheetingRoll
from inventory.services.logbook import log
from inventory.services.ordering.layouts.making import faces_in_frozen, lock_draft
from inventory.services.ordering.lines import lock_order
from inventory.services.ordering.progress import order_progress
from inventory.services.ordering.proofs import why_not_made
from inventory.services.production.roll_lengths import IN_PER_FT, rolls_left

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import User

_HAIR_FT = 1e-4


@transaction.atomic
def freeze_plan(
    *, plan: LayoutPlan, by: User | None = None, now: datetime | None = None
) -> LayoutPlan:
    """
    Freeze a layout: it is what is printed; of two that want the same faces, one succeeds.

    Its faces are not laid out again and its length of roll is not given twice, until it is
    printed or the freeze is taken back.
    """
    now = now or timezone.now()
    order = lock_order(plan.order)
    plan = lock_draft(plan)
    if order.state != PrintOrder.State.RELEASED:
        msg = f"Order {order.number} is {order.get_state_display()}; nothing is printed for it."
        raise StateConflictError(msg)
    if plan.runs.filter(finished_at__isnull=True).exists():
        msg = "This layout is being searched for; wait for it, or stop it, then freeze it."
        raise StateConflictError(msg)
    loads = list(plan.loads.select_related("roll").order_by("number"))
    if not loads or plan.solved_at is None:
        msg = "No face lies on a roll yet; lay the faces out first."
        raise StateConflictError(msg)
    _check_faces(plan, order)
    _check_rolls(plan)
    plan.state = LayoutPlan.State.FROZEN
    plan.frozen_at, plan.frozen_by = now, by
    plan.save(update_fields=["state", "frozen_at", "frozen_by"])
    faces = plan.faces.filter(load__isnull=False).count()
    log(
        organisation=plan.organisation,
        actor=by,
        verb="freeze layout",
        text=f"Order {order.number}: layout of {faces} faces on {len(loads)} "
        f"{'roll' if len(loads) == 1 else 'rolls'} frozen.",
        at=now,
        order=order,
    )
    return plan


@transaction.atomic
def take_freeze_back(
    *, plan: LayoutPlan, reason: str, by: User | None = None, now: datetime | None = None
) -> LayoutPlan:
    """Open a frozen layout of which nothing is printed; its faces are free again."""
    order = lock_order(plan.order)
    locked: LayoutPlan = (
        LayoutPlan.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=plan.pk)
    )
    if locked.state != LayoutPlan.State.FROZEN:
        msg = f"This layout is {locked.get_state_display()}; there is no freeze to take back."
        raise StateConflictError(msg)
    if locked.loads.filter(printed__isnull=False).exists():
        msg = (
            "A roll of this layout is printed already, so it stays frozen; what is not printed "
            "can be laid out anew once its runs are recorded."
        )
        raise StateConflictError(msg)
    if not reason.strip():
        msg = "Say why the freeze is taken back."
        raise OutOfRangeError(msg)
    locked.state = LayoutPlan.State.DRAFT
    locked.frozen_at = locked.frozen_by = None
    locked.save(update_fields=["state", "frozen_at", "frozen_by"])
    log(
        organisation=locked.organisation,
        actor=by,
        verb="take freeze back",
        text=f"Order {order.number}: the freeze of a layout taken back: {reason.strip()}",
        at=now or timezone.now(),
        order=order,
    )
    return locked


def _check_faces(plan: LayoutPlan, order: PrintOrder) -> None:
    """Refuse faces that were printed, or frozen in another layout, meanwhile."""
    here: Counter[int] = Counter(
        plan.faces.filter(load__isnull=False).order_by().values_list("line", flat=True)
    )
    taken = faces_in_frozen(order, besides=plan)
    progress = order_progress(order)
    why = why_not_made(each.line for each in progress if here[each.line.pk])
    for sentence in why.values():
        raise StateConflictError(sentence)
    for each in progress:
        wanted = here[each.line.pk]
        free = each.counts.outstanding - taken[each.line.pk]
        if wanted > free:
            msg = (
                f"{wanted} faces of line {each.line.number} ({each.line}) lie here, and only "
                f"{max(free, 0)} are neither printed nor in a frozen layout. Leave out "
                f"{wanted - max(free, 0)} of them and lay out again."
            )
            raise StateConflictError(msg)


def _check_rolls(plan: LayoutPlan) -> None:
    """Refuse a length that a roll has no more, since it was printed on or laid out on."""
    loads = list(plan.loads.order_by("roll"))
    rolls = list(
        SheetingRoll.objects.select_for_update()
        .filter(pk__in=[load.roll_id for load in loads])
        .order_by("pk")
    )
    left = rolls_left(rolls)
    names = {roll.pk: roll for roll in rolls}
    for load in loads:
        free_ft = left[load.roll_id].free_ft
        if load.taken_in / IN_PER_FT > free_ft + _HAIR_FT:
            msg = (
                f"{load.taken_in / IN_PER_FT:.1f} ft are laid out on {names[load.roll_id]}, "
                f"of which {free_ft:.1f} ft are free now. Lay out again."
            )
            raise StateConflictError(msg)
