"""What is on order for a position already."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db.models import Exists, OuterRef, Subquery

from inventory.models import LayoutFace, OrderLine, PrintOrder
from inventory.services.ordering.reservations import reservations_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.models import ScopedQuerySet, Sign

OPEN_STATES = (PrintOrder.State.DRAFT, PrintOrder.State.RELEASED, PrintOrder.State.PRINTED)


def open_lines(positions: Iterable[int | None]) -> ScopedQuerySet:
    """
    Return the order lines a face is still to come of, for some positions.

    A line whose face was put up, wherever that was, asks for nothing more, though its order is
    open for its other faces. ``printed_on`` is when its face was made, if it was.
    """
    faces = LayoutFace.objects.filter(line=OuterRef("pk"))
    rows: ScopedQuerySet = (
        OrderLine.objects.filter(
            ~Exists(faces.filter(sign__installed_on__isnull=False)),
            position__in=[each for each in positions if each is not None],
            order__state__in=OPEN_STATES,
            quantity__gt=0,
        )
        .annotate(
            printed_on=Subquery(
                faces.filter(sign__removed_on__isnull=True)
                .order_by("pk")
                .values("sign__fabricated_on")[:1]
            )
        )
        .select_related("order")
        .order_by("order__drafted_at", "pk")
    )
    return rows


def why_not_again(positions: Iterable[int | None]) -> dict[int, str]:
    """Return why nothing more is ordered for a position, in two queries."""
    keys = [each for each in positions if each is not None]
    said = {
        key: (
            f"A face in stock ({_face_words(row.sign)}) is kept for this position: "
            f"{row.reason}. Put it up, or set it free first."
        )
        for key, row in reservations_of(keys).items()
    }
    return said | {
        key: (
            f"A face for this position is already on order {line.order.number} "
            f"({line.order.get_state_display()})."
        )
        for key, line in lines_by_position(keys).items()
    }


def _face_words(sign: Sign) -> str:
    return f"label {sign.label_id}" if sign.label_id else f"face {sign.pk}"


def lines_by_position(positions: Iterable[int | None]) -> dict[int, OrderLine]:
    """Return the line that a face is to come of for each position, in one query."""
    return {line.position_id: line for line in open_lines(positions)}
