"""What the material of a layout costs by the shop's prices, and where its film runs out."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.engineering.ordering.costs import (
    BlankAsked,
    MaterialCosts,
    SheetingTaken,
    ThicknessStep,
    material_costs,
)
from inventory.engineering.ordering.estimate import FilmStretch, OverlayNeeded, overlay_needed
from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.standards.vocabulary import Shape
from inventory.services.ordering.shop_prices import (
    currency_of,
    prices_of,
    thickness_rule_of,
)
from inventory.services.production.stock_left import overlays_left
from inventory.services.production.what_was_on import loaded_at

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import LayoutPlan, OrderLine, OverlayRoll, ThicknessRow
    from inventory.services.ordering.layouts.looking import LoadView

_FT2_PER_IN2 = Decimal(1) / Decimal(144)
_MILLIONTH = Decimal("0.000001")


@dataclass(frozen=True)
class Film:
    """The overlay film a job takes; ``roll`` is none where none is known to be on."""

    roll: OverlayRoll | None
    is_known: bool
    needed: OverlayNeeded
    is_at_most: bool = False

    @property
    def area_ft2(self) -> Decimal | None:
        """Return the film that leaves its roll."""
        if self.roll is None:
            return None
        return _exact(self.needed.needed_ft) * _exact(self.roll.width_in) / 12


@dataclass(frozen=True)
class LayoutCosts:
    """What the loads of a layout that are not printed take of material, and its money."""

    material: MaterialCosts
    film: Film
    rule: list[ThicknessRow]
    currency: str


def costs_of(
    plan: LayoutPlan, views: Sequence[LoadView], *, now: datetime | None = None
) -> LayoutCosts | None:
    """Return what the material of the loads that are not printed costs, by today's prices."""
    todo = [view for view in views if getattr(view.load, "printed", None) is None]
    lines: dict[int, OrderLine] = {}
    for view in todo:
        for piece in view.pieces:
            lines.setdefault(piece.face_id, piece.face.line)
    if not lines:
        return None
    shop = plan.organisation
    rule = thickness_rule_of(shop)
    film = _film(plan, todo, now or timezone.now())
    waste_ft2 = sum((_exact(view.figures.waste_ft2) for view in todo), Decimal(0))
    taken_ft2 = sum(
        (_exact(v.load.taken_in) * _exact(v.load.roll.width_in) for v in todo), Decimal(0)
    )
    return LayoutCosts(
        material=material_costs(
            [
                SheetingTaken(
                    sheeting_type=plan.sheeting_type,
                    color=plan.base_color,
                    taken_ft2=taken_ft2 * _FT2_PER_IN2,
                    waste_ft2=max(Decimal(0), waste_ft2),
                )
            ],
            overlay_ft2=film.area_ft2,
            blanks=[_blank(line) for line in lines.values()],
            steps=[
                ThicknessStep(up_to_in=row.up_to_in, thickness_in=row.thickness_in)
                for row in rule
            ],
            prices=prices_of(shop),
        ),
        film=film,
        rule=rule,
        currency=currency_of(shop),
    )


def _film(plan: LayoutPlan, views: Sequence[LoadView], now: datetime) -> Film:
    loaded = loaded_at(plan.press, now)
    roll = loaded.overlay
    left = None if roll is None else overlays_left([roll])[roll.pk]
    stretches = []
    for view in views:
        ends: dict[int, float] = {}
        for piece in view.pieces:
            end = max(along for _across, along in piece.corners_in)
            ends[piece.face.number] = max(end, ends.get(piece.face.number, 0.0))
        stretches.append(FilmStretch(taken_in=view.load.taken_in, ends_in=tuple(ends.items())))
    return Film(
        roll=roll,
        is_known=loaded.is_overlay_known,
        needed=overlay_needed(stretches, left_ft=None if left is None else left.left_ft),
        is_at_most=left is not None and left.is_at_most,
    )


def _blank(line: OrderLine) -> BlankAsked:
    outline = face_outline(
        Shape(line.shape) if line.shape else None, line.width_in, line.height_in
    )
    return BlankAsked(
        width_in=_exact(outline.rectangle_width_in),
        height_in=_exact(outline.rectangle_height_in),
        count=outline.rectangle_count,
    )


def _exact(value: float) -> Decimal:
    """Return a length or area as the decimal it stands for, to the millionth."""
    return Decimal(repr(value)).quantize(_MILLIONTH)
