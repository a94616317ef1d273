"""A row of each record of what passes between agency and shop about an order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import (
    FaceReceipt,
    OrderAnswer,
    OrderQuestion,
    Shipment,
    ShipmentFace,
)
from tests.factories import NOW

if TYPE_CHECKING:
    from inventory.models import PrintOrder, Sign


def fill_order_life(order: PrintOrder, sign: Sign) -> None:
    """Ask, answer, ship a face and receive it."""
    question = OrderQuestion.objects.create(
        order=order, text="Which arrow?", asked_at=NOW, is_by_shop=True
    )
    OrderAnswer.objects.create(question=question, text="Left.", answered_at=NOW)
    shipment = Shipment.objects.create(order=order, number=1, shipped_at=NOW)
    face = ShipmentFace.objects.create(shipment=shipment, sign=sign)
    FaceReceipt.objects.create(face=face, outcome="whole", received_at=NOW)
