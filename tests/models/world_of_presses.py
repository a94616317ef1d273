"""A row of each record of what a press prints with and needs."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from inventory.models import (
    InkChannel,
    InkContainer,
    InkKind,
    MaintenanceTask,
    PressEvent,
    ShopRule,
)
from tests.factories import NOW

if TYPE_CHECKING:
    from inventory.models import Press

DAY = timedelta(days=1)


def fill_press(press: Press) -> None:
    """Put a channel, a container in it, a task done and shelf lives on record."""
    shop = press.organisation
    ShopRule.objects.get_or_create(
        organisation=shop, defaults={"sheeting_months": 12, "set_at": NOW}
    )
    InkChannel.objects.create(press=press, name="R1", color="red", kind=InkKind.SPOT)
    container = InkContainer.objects.create(
        organisation=shop,
        container_number=f"C{press.pk}",
        lot="R-1",
        color="red",
        kind=InkKind.SPOT,
        volume_ml=500.0,
    )
    task = MaintenanceTask.objects.create(press=press, name="Wipe the heads", every_days=1)
    for hours, kind, fields in (
        (1, PressEvent.Kind.MAINTENANCE_DONE, {"task": task}),
        (2, PressEvent.Kind.INK_MEASURED, {"container": container, "remaining_ml": 400.0}),
    ):
        PressEvent.objects.create(
            press=press,
            kind=kind,
            happened_at=NOW - 20 * DAY + timedelta(hours=hours),
            recorded_at=NOW,
            **fields,
        )
