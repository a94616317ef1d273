"""A layout to be looked at: its loads as the reckoning knows them, with their figures."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from inventory.engineering.ordering.layout.drawing_figures import figures_of
from inventory.engineering.ordering.layout.plans import Laid, Load, StockRoll
from inventory.models import LaidPiece

if TYPE_CHECKING:
    from inventory.engineering.ordering.layout.drawing_figures import Figures
    from inventory.models import LayoutPlan, PlanLoad


@dataclass(frozen=True)
class LoadView:
    """A load, its pieces in order along the roll, and its figures; what is left out is gone."""

    load: PlanLoad
    pieces: list[LaidPiece]
    figures: Figures


def views_of(plan: LayoutPlan) -> list[LoadView]:
    """Return the loads of a layout with all that a drawing needs, in two queries."""
    loads = list(
        plan.loads.select_related("roll", "printed__layout__print_run").order_by("number")
    )
    by_load: dict[int, list[LaidPiece]] = defaultdict(list)
    for load in loads:
        by_load[load.pk] = []
    rows = LaidPiece.objects.filter(load__in=loads).select_related("face__line")
    for piece in rows.order_by("along_in", "across_in", "pk") if loads else ():
        by_load[piece.load_id].append(piece)
    return [
        LoadView(load, by_load[load.pk], figures_of(_engine_load(load, by_load[load.pk])))
        for load in loads
    ]


def _engine_load(load: PlanLoad, pieces: list[LaidPiece]) -> Load:
    laid = []
    for piece in pieces:
        outline = np.array(piece.corners_in, dtype=float)
        x, y = outline[:, 0], outline[:, 1]
        laid.append(
            Laid(
                face=piece.face.number,
                part=piece.part,
                parts=piece.parts,
                due_rank=piece.face.due_rank,
                roll=load.roll_id,
                outline=outline,
                angle_deg=piece.angle_deg,
                area_in2=float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2,
                is_pinned=piece.is_pinned,
            )
        )
    return Load(
        roll=StockRoll(
            key=load.roll_id, width_in=load.roll.width_in, length_in=load.roll_left_in
        ),
        laid=tuple(laid),
        usable_width_in=load.usable_width_in,
        length_in=load.length_in,
        bound_in=load.bound_in,
        taken_in=load.taken_in,
        left_in=load.left_in,
        is_straight=load.is_straight,
    )
