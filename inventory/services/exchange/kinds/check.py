"""A check of an instrument against its reference standard."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.models import Instrument, InstrumentCheck
from inventory.services.exchange import shapes
from inventory.services.instruments import record_check

if TYPE_CHECKING:
    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

LONGEST_NUMBER_TEXT = 24


def apply(content: Content, context: Context) -> dict[str, Any]:
    """Record the check as it was typed."""
    payload = content.payload
    instrument_id = shapes.whole(payload, "instrument_id", least=1)
    instrument = context.resolve({"id": instrument_id}, Instrument)
    check = record_check(
        instrument=instrument,
        moment=shapes.choice(payload, "moment", InstrumentCheck.Moment.values),
        reference=shapes.text(payload, "reference_ra_cd_lx_m2", most=LONGEST_NUMBER_TEXT),
        shown=shapes.text(payload, "shown_ra_cd_lx_m2", most=LONGEST_NUMBER_TEXT),
        checked_at=context.at,
        by=context.person,
        client_uuid=content.client_uuid,
        now=context.now,
    )
    return {"check_id": check.pk}
