"""A row of each record of a layout on rolls, and of labels."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import (
    FaceLabel,
    LabelBatch,
    LabelSheet,
    LaidPiece,
    LayoutFace,
    LayoutPlan,
    LayoutRun,
    PlanLoad,
    PlannedFace,
    PrintedLoad,
    RollLayout,
    SheetingTurns,
)
from tests.factories import NOW

if TYPE_CHECKING:
    from inventory.models import PrintRun


def fill_layouts(run: PrintRun) -> None:
    """Put on record how the faces of a run lay on its roll."""
    layout = RollLayout.objects.select_related("order__shop", "roll").get(print_run=run)
    order, roll, shop = layout.order, layout.roll, layout.order.shop
    SheetingTurns.objects.get_or_create(
        organisation=shop,
        sheeting_type=roll.sheeting_type,
        optics=roll.optics,
        defaults={"may_turn_90": True, "basis": "invented for the tests", "set_at": NOW},
    )
    plan = LayoutPlan.objects.create(
        organisation=shop,
        order=order,
        sheeting_type=roll.sheeting_type,
        optics=roll.optics,
        base_color=roll.color,
        press=run.press,
        cutter=LayoutPlan.Cutter.STRAIGHT,
        gap_in=0.25,
        edge_margin_in=0.5,
        bleed_in=0.125,
        angles_deg=[0],
        printable_width_in=48.0,
        lead_in_in=6.0,
        tail_in=12.0,
        state=LayoutPlan.State.FROZEN,
        made_at=NOW,
        solved_at=NOW,
        frozen_at=NOW,
    )
    plan.rolls.add(roll)
    LayoutRun.objects.create(plan=plan, started_at=NOW, seen_at=NOW)
    load = PlanLoad.objects.create(
        plan=plan,
        number=1,
        roll=roll,
        roll_left_in=1800.0,
        usable_width_in=47.0,
        length_in=30.0,
        bound_in=30.0,
        taken_in=48.25,
        is_straight=True,
    )
    printed = LayoutFace.objects.filter(layout=layout).order_by("pk").first()
    assert printed is not None
    face = PlannedFace.objects.create(
        plan=plan, line=printed.line, number=1, load=load, printed_as=printed
    )
    LaidPiece.objects.create(
        face=face,
        load=load,
        corners_in=[[0.5, 6.125], [30.5, 6.125], [30.5, 36.125], [0.5, 36.125]],
        across_in=0.5,
        along_in=6.125,
        angle_deg=0.0,
    )
    PrintedLoad.objects.create(load=load, layout=layout)


def fill_labels(run: PrintRun) -> None:
    """Make the label of a face of a run."""
    shop = run.press.organisation
    measures = {
        "page_width_in": 8.5,
        "page_height_in": 11.0,
        "left_in": 0.2,
        "top_in": 0.5,
        "columns": 2,
        "rows": 5,
        "label_width_in": 4.0,
        "label_height_in": 2.0,
        "gap_across_in": 0.1,
        "gap_down_in": 0.0,
    }
    sheet, _ = LabelSheet.objects.get_or_create(
        organisation=shop, name="Ten a page", defaults=measures
    )
    batch = LabelBatch.objects.create(
        organisation=shop, sheet=sheet, measures=measures, made_at=NOW
    )
    FaceLabel.objects.create(batch=batch, sign=run.signs.order_by("pk")[0], number=1)
