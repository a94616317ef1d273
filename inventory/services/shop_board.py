"""What a shop has to print, over all its orders: by sheeting, and what is late."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q

from inventory.engineering.ordering.groups import FaceLine, group_faces
from inventory.engineering.standards.vocabulary import Shape
from inventory.models import OrderLine, PrintOrder, Sign

if TYPE_CHECKING:
    from datetime import date

    from inventory.models import Organisation

SheetingKey = tuple[str, str, str]


@dataclass
class ToPrint:
    """The faces still to be printed on one base sheeting, and the orders that ask for them."""

    sheeting_type: str
    optics: str
    base_color: str
    faces: int = 0
    area_ft2: float = 0.0
    press_minutes: float = 0.0
    orders: dict[int, PrintOrder] = field(default_factory=dict)
    needed_by_on: date | None = None


@dataclass(frozen=True)
class Board:
    """What to print next: the sheeting whose earliest order is needed first comes first."""

    groups: list[ToPrint]
    late: list[PrintOrder]
    rates_ft2_per_h: list[float]

    @property
    def next_order(self) -> PrintOrder | None:
        """Return the order to print first: the one that is latest, else soonest needed."""
        if self.late:
            return self.late[0]
        orders = [order for group in self.groups for order in group.orders.values()]
        return min(orders, key=_order_by_need) if orders else None

    @property
    def faces(self) -> int:
        """Return how many faces are still to be printed."""
        return sum(group.faces for group in self.groups)

    @property
    def area_ft2(self) -> float:
        """Return the sheeting they take, without gaps."""
        return sum(group.area_ft2 for group in self.groups)

    @property
    def press_minutes(self) -> float:
        """Return the press time they take, at the rate of each order."""
        return sum(group.press_minutes for group in self.groups)


def board(*, shop: Organisation, today: date) -> Board:
    """Return what a shop still has to print of the orders released to it, in one query."""
    by_order: dict[int, tuple[PrintOrder, list[FaceLine]]] = {}
    for line in _open_lines(shop):
        outstanding = max(0, line.quantity - (line.printed - line.lost))
        if outstanding:
            _order, faces = by_order.setdefault(line.order_id, (line.order, []))
            faces.append(_face_line(line, outstanding))
    groups: dict[SheetingKey, ToPrint] = {}
    for order, faces in by_order.values():
        _add(groups, order, faces)
    orders = [order for order, _faces in by_order.values()]
    return Board(
        groups=sorted(groups.values(), key=_by_need),
        late=sorted(
            (o for o in orders if (last := _last_day(o)) is not None and last < today),
            key=lambda order: (_last_day(order), order.number),
        ),
        rates_ft2_per_h=sorted({order.press_rate_ft2_per_h for order in orders}),
    )


def _last_day(order: PrintOrder) -> date | None:
    """Return the day by which an order is wanted or was promised, whichever is sooner."""
    days = [day for day in (order.needed_by_on, order.promised_on) if day is not None]
    return min(days, default=None)


def _open_lines(shop: Organisation) -> list[Any]:
    """Return the lines of the orders released to a shop, with what was printed and lost."""
    return list(
        OrderLine.objects.filter(order__shop=shop, order__state=PrintOrder.State.RELEASED)
        .select_related("order__agency")
        .annotate(
            printed=Count("faces"),
            lost=Count(
                "faces",
                filter=Q(
                    faces__sign__state=Sign.State.REMOVED,
                    faces__sign__installed_on__isnull=True,
                ),
            ),
        )
        .order_by("order", "number")
    )


def _face_line(line: OrderLine, quantity: int) -> FaceLine:
    return FaceLine(
        key=line.pk,
        sheeting_type=line.sheeting_type,
        optics=line.optics,
        base_color=line.base_color,
        shape=Shape(line.shape) if line.shape else None,
        width_in=line.width_in,
        height_in=line.height_in,
        quantity=quantity,
    )


def _add(groups: dict[SheetingKey, ToPrint], order: PrintOrder, faces: list[FaceLine]) -> None:
    """Add the open faces of one order, at its own rate, to the groups of the board."""
    for found in group_faces(faces, order.press_rate_ft2_per_h):
        key = (found.sheeting_type, found.optics, found.base_color)
        group = groups.setdefault(key, ToPrint(*key))
        group.faces += found.face_count
        group.area_ft2 += found.area_ft2
        group.press_minutes += found.press_minutes
        group.orders[order.pk] = order
        if order.needed_by_on is not None:
            group.needed_by_on = min(
                order.needed_by_on, group.needed_by_on or order.needed_by_on
            )


def _by_need(group: ToPrint) -> tuple[bool, str, float]:
    """Sort by the earliest day needed; without one, the longest press time first."""
    day = group.needed_by_on
    return (day is None, day.isoformat() if day else "", -group.press_minutes)


def _order_by_need(order: PrintOrder) -> tuple[bool, str, str]:
    day = order.needed_by_on
    return (day is None, day.isoformat() if day else "", order.number)
