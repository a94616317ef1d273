"""The phones of an organisation: who uses them, when they were heard, what is missing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import Count, Max, Q

from inventory.models import DeviceOperation, DevicePerson
from inventory.services.exchange.clock import MOST_SKEW_S
from inventory.services.exchange.known import OPEN

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import Device

SECONDS_PER_MINUTE = 60
MINUTES_PER_HOUR = 60
MINUTES_PER_DAY = 24 * MINUTES_PER_HOUR


@dataclass(frozen=True)
class Phone:
    """One phone as the list shows it."""

    device: Device
    people: list[DevicePerson]
    operation_count: int
    open_count: int
    missing_count: int

    @property
    def is_clock_out(self) -> bool:
        """Return whether its clock was out by more than is let pass when it last sent."""
        skew_s = self.device.last_skew_s
        return skew_s is not None and abs(skew_s) > MOST_SKEW_S

    @property
    def clock_words(self) -> str:
        """Return how its clock stood when it last sent, in words."""
        skew_s = self.device.last_skew_s
        if skew_s is None:
            return "not known: it has sent nothing yet"
        if not self.is_clock_out:
            return "right"
        return f"{_length(abs(skew_s))} {'slow' if skew_s > 0 else 'fast'}"


def phones(devices: Sequence[Device]) -> list[Phone]:
    """
    Return phones with what is known of them; the number of queries does not grow.

    Missing are the numbers of a phone's own count, up to the highest that arrived, of which
    nothing is here.
    """
    people: dict[int, list[DevicePerson]] = {each.pk: [] for each in devices}
    for row in (
        DevicePerson.objects.filter(device__in=devices)
        .select_related("user")
        .order_by("-signed_in_at", "pk")
    ):
        people[row.device_id].append(row)
    counts = {
        row["device"]: row
        for row in DeviceOperation.objects.filter(device__in=devices)
        .order_by()
        .values("device")
        .annotate(
            highest=Max("sequence"),
            numbers=Count("sequence", distinct=True),
            waiting=Count("pk", filter=Q(state__in=OPEN, settled_at=None)),
        )
    }
    nothing = {"highest": 0, "numbers": 0, "waiting": 0}
    return [
        Phone(
            device=each,
            people=people[each.pk],
            operation_count=counts.get(each.pk, nothing)["numbers"],
            open_count=counts.get(each.pk, nothing)["waiting"],
            missing_count=counts.get(each.pk, nothing)["highest"]
            - counts.get(each.pk, nothing)["numbers"],
        )
        for each in devices
    ]


def _length(seconds: float) -> str:
    """Return a stretch of time in its two largest units."""
    minutes = round(seconds / SECONDS_PER_MINUTE)
    days, rest = divmod(minutes, MINUTES_PER_DAY)
    hours, minutes = divmod(rest, MINUTES_PER_HOUR)
    if days:
        return f"{days:,} d {hours} h"
    return f"{hours} h {minutes} min" if hours else f"{minutes} min"
