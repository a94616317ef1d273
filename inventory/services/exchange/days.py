"""Calendar days a phone names, put right where its clock was wrong."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from inventory.services.exchange import shapes

if TYPE_CHECKING:
    from datetime import date

    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context


def day_by_the_server(content: Content, context: Context, name: str) -> date:
    """
    Return a day of the payload; the phone's own today is the day it was by the server's clock.

    A day that a person picked on purpose stays as it was picked.
    """
    day = shapes.day(content.payload, name)
    if context.at == content.device_at:
        return day
    offset = timedelta(minutes=content.device_offset_minutes)
    its_today = (content.device_at + offset).date()
    return context.organisation.day_of(context.at) if day == its_today else day
