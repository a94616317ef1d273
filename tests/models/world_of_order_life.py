"""A row of each record of what passes between agency and shop about an order."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import (
    Blank,
    BlankCount,
    FaceCheck,
    FaceReceipt,
    FaceStep,
    LineChange,
    OrderAmendment,
    OrderAnswer,
    OrderQuestion,
    Proof,
    ProofDecision,
    Shipment,
    ShipmentFace,
    ShopStep,
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
    amendment = OrderAmendment.objects.create(order=order, text="Fewer.", amended_at=NOW)
    LineChange.objects.create(
        amendment=amendment,
        line=order.lines.order_by("number")[0],
        quantity_before=2,
        quantity_after=1,
    )
    shipment = Shipment.objects.create(order=order, number=1, shipped_at=NOW)
    face = ShipmentFace.objects.create(shipment=shipment, sign=sign)
    FaceReceipt.objects.create(face=face, outcome="whole", received_at=NOW)
    line = order.lines.order_by("number")[0]
    proof = Proof.objects.create(
        line=line,
        number=1,
        file="proofs/1.pdf",
        file_name="1.pdf",
        sha256="0" * 64,
        legend_text="Mill Rd",
        sent_at=NOW,
    )
    FaceCheck.objects.create(
        sign=sign,
        is_look_right=True,
        is_size_right=True,
        is_legend_right=True,
        readings="none",
        is_passed=True,
        checked_at=NOW,
    )
    ProofDecision.objects.create(proof=proof, is_approved=True, decided_at=NOW)
    shop = order.shop
    step, _ = ShopStep.objects.get_or_create(
        organisation=shop, name="Dry the print", defaults={"kind": "dried", "place": 1}
    )
    blank, _ = Blank.objects.get_or_create(
        organisation=shop, width_in=30.0, height_in=30.0, thickness_in=0.08
    )
    BlankCount.objects.create(blank=blank, change=9, reason="received", happened_at=NOW)
    FaceStep.objects.create(sign=sign, step=step, done_at=NOW, recorded_at=NOW)
