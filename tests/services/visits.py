"""Visits to signs as the tests of batches send them."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from inventory.services.inspection_batch import (
    ObservationInput,
    ReadingSetInput,
    Visit,
    record_inspections,
)
from tests.factories import NOW

if TYPE_CHECKING:
    from inventory.errors import InventoryError
    from inventory.models import Inspection, Organisation, Sign

TAKEN = NOW - timedelta(days=1)
WHITE = ReadingSetInput("white", ("40.0", "41", "39", "40"))
RED = ReadingSetInput("red", ("6.0", "6", "6.00", "6"))
BENT = ObservationInput("bent", 3)
PANELS = {
    "colors": [{"color": "white", "panel": "P-7", "ra_cd_lx_m2": "36"}],
    "fixed_to_sign": True,
    "distance_ft": 25,
    "flashlight_close_to_head": True,
}
TORN_PANELS = PANELS | {"colors": [{"color": "white", "panel": "P\0", "ra_cd_lx_m2": "36"}]}
DIM_PANELS = PANELS | {"colors": [{"color": "white", "panel": "P-7", "ra_cd_lx_m2": "20"}]}


def visit(sign: Sign, **fields: Any) -> Visit:
    defaults: dict[str, Any] = {
        "taken_at": TAKEN,
        "how": "hand_held",
        "client_uuid": uuid.uuid4(),
        "reading_sets": (WHITE, RED),
    }
    return Visit(sign_id=sign.pk, **defaults | fields)


def record(organisation: Organisation, *visits: Visit) -> list[Inspection | InventoryError]:
    return record_inspections(organisation=organisation, visits=visits, now=NOW)
