"""A row of each record of a hand-over to the shop."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import FaceChoice, StockReservation
from tests.factories import NOW, position_of

if TYPE_CHECKING:
    from inventory.models import Sign


def fill_hand_overs(standing: Sign, in_stock: Sign) -> None:
    """Choose the sheeting of a face's successor, and keep a face in stock for its place."""
    position = position_of(standing)
    FaceChoice.objects.create(
        position=position, replaces=standing, sheeting_type="XI", decided_at=NOW
    )
    StockReservation.objects.create(
        position=position, sign=in_stock, reason="Programme 2026", reserved_at=NOW
    )
