"""A load of a frozen layout as a run printed it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Min

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import LayoutPlan, PlannedFace, PrintedLoad

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from inventory.models import LayoutFace, PlanLoad, PrintOrder, RollLayout, SheetingRoll

BATCH = 500


def faces_of_load(
    order: PrintOrder, roll: SheetingRoll, load: PlanLoad, not_printed: Collection[int]
) -> list[PlannedFace]:
    """
    Return the faces a run printed of a load, as they come off the roll.

    The caller holds the order's lock, so that a load is printed once.
    """
    plan = load.plan
    if plan.order_id != order.pk:
        msg = f"{load} is not of order {order.number}; pick a layout of this order."
        raise StateConflictError(msg)
    state = LayoutPlan.objects.values_list("state", flat=True).get(pk=plan.pk)
    if state != LayoutPlan.State.FROZEN:
        msg = f"{load} is not frozen; freeze the layout, then print it."
        raise StateConflictError(msg)
    if PrintedLoad.objects.filter(load=load).exists():
        msg = f"{load} is printed already; a layout is printed once."
        raise StateConflictError(msg)
    if load.roll_id != roll.pk:
        msg = (
            f"This load was laid out on {load.roll}, and {roll} was on the press then. Correct "
            "the press log, or lay the faces out on the roll that was on."
        )
        raise StateConflictError(msg)
    rows = PlannedFace.objects.filter(load=load).select_related("line")
    faces = list(
        rows.annotate(along=Min("pieces__along_in"), across=Min("pieces__across_in")).order_by(
            "along", "across", "number"
        )
    )
    left_out = set(not_printed)
    unknown = left_out - {face.number for face in faces}
    if unknown:
        msg = f"Face {min(unknown)} is not on this roll; look at the layout again."
        raise OutOfRangeError(msg)
    printed = [face for face in faces if face.number not in left_out]
    if not printed:
        msg = "The run printed no face of this layout; pick at least one that it printed."
        raise OutOfRangeError(msg)
    return printed


def keep_as_printed(
    load: PlanLoad,
    layout: RollLayout,
    planned: Sequence[PlannedFace],
    faces: Sequence[LayoutFace],
) -> None:
    """Tie each face to the place it was printed at."""
    PrintedLoad.objects.create(load=load, layout=layout)
    for each, face in zip(planned, faces, strict=True):
        each.printed_as = face
    PlannedFace.objects.bulk_update(planned, ["printed_as"], batch_size=BATCH)
