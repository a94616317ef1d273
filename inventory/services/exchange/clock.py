"""The clock of a phone against the server's; what it said is kept beside what is believed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime

MOST_SKEW_S = 300.0
MOST_SKEW = timedelta(seconds=MOST_SKEW_S)


@dataclass(frozen=True, slots=True)
class PhoneClock:
    """How a phone's clock stood when it sent; without ``sent_at`` nothing is known of it."""

    sent_at: datetime | None
    received_at: datetime

    @property
    def skew_s(self) -> float:
        """Return the server's clock minus the phone's, in seconds."""
        return (self.received_at - (self.sent_at or self.received_at)).total_seconds()

    def correct(
        self, device_at: datetime, latest_before: datetime | None
    ) -> tuple[datetime, bool]:
        """
        Return a moment by the server's clock, and whether the phone's clock is in doubt.

        ``latest_before`` is the latest moment of the operations that the phone counted before
        this one: a clock that went back since then was set in between. Nothing happened after
        it was received.
        """
        is_skewed = abs(self.skew_s) > MOST_SKEW_S
        moment = device_at + timedelta(seconds=self.skew_s) if is_skewed else device_at
        believed = min(moment, self.received_at)
        is_later_than_sent = device_at > (self.sent_at or self.received_at)
        went_back = latest_before is not None and device_at < latest_before - MOST_SKEW
        return believed, is_skewed or is_later_than_sent or went_back
