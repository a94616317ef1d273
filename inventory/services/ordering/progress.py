"""How far an order is, and its faces grouped by the sheeting they are printed on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, Q, Sum

from inventory.engineering.ordering.groups import FaceLine, group_faces
from inventory.engineering.standards.vocabulary import Shape
from inventory.models import FaceCheck, FaceLabel, LayoutFace, OrderLine, PrintOrder, Sign

if TYPE_CHECKING:
    from collections.abc import Iterable

    from django.db.models import QuerySet

_IN_STOCK = Q(sign__state=Sign.State.IN_STOCK)
_PUT_UP = Q(sign__installed_on__isnull=False)
_SHIPPED = Q(sign__shipment_face__isnull=False)
_RECEIVED = Q(sign__shipment_face__receipt__outcome="whole")
_LABELLED = Q(sign__in=FaceLabel.objects.order_by().values("sign"))
_CHECKED = Q(sign__in=FaceCheck.objects.filter(is_passed=True).order_by().values("sign"))
LOST = Q(sign__state=Sign.State.REMOVED, sign__installed_on__isnull=True)


@dataclass(frozen=True)
class OrderGroup:
    """
    The faces of an order on one base sheeting.

    ``area_ft2`` is the sheeting they take without gaps, ``shape_area_ft2`` their own area
    (``None``: not known for every shape), ``press_minutes`` the time at the order's rate.
    """

    sheeting_type: str
    optics: str
    base_color: str
    faces: int
    area_ft2: float
    shape_area_ft2: float | None
    press_minutes: float
    lines: list[OrderLine]


@dataclass(frozen=True)
class OrderCounts:
    """
    Faces of an order or a line: asked for, printed, and what became of them.

    ``installed`` counts faces that were put up, whatever happened to them since; ``lost``
    those that never were. ``outstanding`` are still to be printed. ``received`` counts those
    that arrived whole; ``shipped`` those that left the shop, whatever became of them.
    """

    ordered: int
    printed: int = 0
    checked: int = 0
    labelled: int = 0
    shipped: int = 0
    received: int = 0
    in_stock: int = 0
    installed: int = 0
    lost: int = 0

    @property
    def outstanding(self) -> int:
        """Return how many faces the shop still has to print."""
        return max(0, self.ordered - (self.printed - self.lost))

    @property
    def is_printed(self) -> bool:
        """Return whether every face has been printed."""
        return self.outstanding == 0

    @property
    def is_installed(self) -> bool:
        """Return whether every face has been put up."""
        return self.installed >= self.ordered


@dataclass(frozen=True)
class LineProgress:
    """A line of an order and how far it is."""

    line: OrderLine
    counts: OrderCounts


def order_groups(order: PrintOrder) -> list[OrderGroup]:
    """Return the order's faces by base sheeting, with area and press time at its rate."""
    lines = {line.pk: line for line in order.lines.order_by("number")}
    faces = [
        FaceLine(
            key=line.pk,
            sheeting_type=line.sheeting_type,
            optics=line.optics,
            base_color=line.base_color,
            shape=Shape(line.shape) if line.shape else None,
            width_in=line.width_in,
            height_in=line.height_in,
            quantity=line.quantity,
        )
        for line in lines.values()
        if line.quantity
    ]
    return [
        OrderGroup(
            sheeting_type=group.sheeting_type,
            optics=group.optics,
            base_color=group.base_color,
            faces=group.face_count,
            area_ft2=group.area_ft2,
            shape_area_ft2=group.shape_area_ft2,
            press_minutes=group.press_minutes,
            lines=[lines[key] for key in group.keys],
        )
        for group in group_faces(faces, order.press_rate_ft2_per_h)
    ]


def order_progress(order: PrintOrder) -> list[LineProgress]:
    """Return how far each line of an order is, in two queries."""
    counts = _counted(LayoutFace.objects.filter(layout__order=order), "line")
    return [
        LineProgress(line, _counts(line.quantity, counts.get(line.pk, {})))
        for line in order.lines.select_related("position__support__road").order_by("number")
    ]


def order_counts(orders: Iterable[PrintOrder]) -> dict[int, OrderCounts]:
    """Return how far each of many orders is, by the order's key, in two queries."""
    keys = [order.pk for order in orders]
    ordered = dict(
        OrderLine.objects.filter(order__in=keys)
        .order_by()
        .values_list("order")
        .annotate(faces=Sum("quantity"))
    )
    found = _counted(LayoutFace.objects.filter(layout__order__in=keys), "layout__order")
    return {key: _counts(ordered.get(key, 0), found.get(key, {})) for key in keys}


def settle_state(order: PrintOrder) -> PrintOrder:
    """
    Set a released order's state to what its faces say; the caller holds the order's lock.

    A face lost before it was put up takes a printed order back to the shop.
    """
    if order.state not in (PrintOrder.State.RELEASED, PrintOrder.State.PRINTED):
        return order
    progress = [each.counts for each in order_progress(order)]
    if all(counts.is_installed for counts in progress):
        state = PrintOrder.State.CLOSED
    elif all(counts.is_printed for counts in progress):
        state = PrintOrder.State.PRINTED
    else:
        state = PrintOrder.State.RELEASED
    if state != order.state:
        order.state = state
        order.save(update_fields=["state"])
    return order


def _counted(faces: QuerySet[LayoutFace], key: str) -> dict[int, dict[str, int]]:
    """Return what became of faces, counted by line or by order in one query."""
    rows = (
        faces.order_by()
        .values(key)
        .annotate(
            printed=Count("pk"),
            checked=Count("pk", filter=_CHECKED),
            labelled=Count("pk", filter=_LABELLED),
            shipped=Count("pk", filter=_SHIPPED),
            received=Count("pk", filter=_RECEIVED),
            in_stock=Count("pk", filter=_IN_STOCK),
            installed=Count("pk", filter=_PUT_UP),
            lost=Count("pk", filter=LOST),
        )
    )
    return {row.pop(key): row for row in rows}


def _counts(ordered: int, found: dict[str, int]) -> OrderCounts:
    return OrderCounts(ordered=ordered, **found)
