"""What is left of rolls: by the last measurement, the runs since, and what is laid out."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.models import LayoutPlan, PlanLoad, PressEvent, PrintRun

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from inventory.models import SheetingRoll

IN_PER_FT = 12.0


@dataclass(frozen=True)
class RollLeft:
    """
    How much of a roll is left, in feet.

    ``is_at_most``: a run used it whose length nobody noted. ``laid_out_ft`` is what frozen
    layouts that are not printed yet will take of it.
    """

    left_ft: float
    is_at_most: bool
    laid_out_ft: float

    @property
    def free_ft(self) -> float:
        """Return what is neither used nor laid out."""
        return max(0.0, self.left_ft - self.laid_out_ft)


def rolls_left(rolls: Iterable[SheetingRoll]) -> dict[int, RollLeft]:
    """
    Return what is left of each roll, by its key, in three queries.

    A length measured when the roll was taken off overrules what runs before it used.
    """
    rolls = list(rolls)
    keys = [roll.pk for roll in rolls]
    measured: dict[int, tuple[datetime, float]] = {}
    taken_off = PressEvent.objects.filter(
        roll__in=keys,
        kind=PressEvent.Kind.ROLL_TAKEN_OFF,
        remaining_ft__isnull=False,
        corrections__isnull=True,
    ).order_by("happened_at", "pk")
    for roll, at, left in taken_off.values_list("roll", "happened_at", "remaining_ft"):
        measured[roll] = at, left
    used: dict[int, float] = defaultdict(float)
    unknown: set[int] = set()
    runs = PrintRun.objects.filter(layout__roll__in=keys).order_by("pk")
    for roll, ended_at, length in runs.values_list(
        "layout__roll", "finished_at", "roll_length_used_ft"
    ):
        if roll in measured and ended_at <= measured[roll][0]:
            continue
        if length is None:
            unknown.add(roll)
        else:
            used[roll] += length
    laid_out: dict[int, float] = defaultdict(float)
    frozen = PlanLoad.objects.filter(
        roll__in=keys, plan__state=LayoutPlan.State.FROZEN, printed__isnull=True
    ).order_by("pk")
    for roll, taken_in in frozen.values_list("roll", "taken_in"):
        laid_out[roll] += taken_in / IN_PER_FT
    return {
        roll.pk: RollLeft(
            left_ft=max(0.0, measured.get(roll.pk, (None, roll.length_ft))[1] - used[roll.pk]),
            is_at_most=roll.pk in unknown,
            laid_out_ft=laid_out[roll.pk],
        )
        for roll in rolls
    }
