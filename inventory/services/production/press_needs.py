"""What the people at a press need to see of it: what is due, in doubt, running out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from inventory.models import InkChannel, PressEvent
from inventory.services.production.maintenance import (
    checks_near,
    last_checks,
    runs_in_doubt,
    tasks_of,
)
from inventory.services.production.stock_left import containers_left

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import InkContainer, Press, PrintRun
    from inventory.services.production.maintenance import TaskStanding
    from inventory.services.production.stock_left import ContainerLeft
    from inventory.services.production.what_was_on import LoadedState

LOOKED_BACK = timedelta(days=30)
MOST_RUNS_SHOWN = 10


@dataclass(frozen=True)
class PressNeeds:
    """The tasks of a press, its last checks, and the runs of the last 30 days in doubt."""

    tasks: list[TaskStanding]
    checks: list[PressEvent]
    doubtful: list[PrintRun]

    @property
    def due(self) -> list[TaskStanding]:
        """Return the tasks that are due now."""
        return [each for each in self.tasks if each.due.is_due]

    @property
    def failed(self) -> list[PressEvent]:
        """Return the checks whose last one failed."""
        return [each for each in self.checks if each.kind == PressEvent.Kind.CHECK_FAILED]

    @property
    def is_anything(self) -> bool:
        """Return whether somebody has to do something."""
        return bool(self.due or self.failed or self.doubtful)


@dataclass(frozen=True)
class ChannelContent:
    """A channel of a press and what is in it; ``None`` or empty where it is not known."""

    channel: InkChannel
    lot: str
    container: InkContainer | None
    left: ContainerLeft | None


def press_needs(press: Press, now: datetime) -> PressNeeds:
    """Return what a press needs at a moment."""
    since = now - LOOKED_BACK
    checks = checks_near(press, since, now)
    doubtful = runs_in_doubt(press, since=since, until=now, checks=checks)
    return PressNeeds(
        tasks=tasks_of(press, now),
        checks=last_checks(checks, now),
        doubtful=doubtful[:MOST_RUNS_SHOWN],
    )


def channels_of(press: Press, loaded: LoadedState) -> list[ChannelContent]:
    """Return the channels of a press in use with what is in each."""
    channels = InkChannel.objects.filter(press=press, is_in_use=True).order_by("name")
    left = containers_left(loaded.containers.values()) if loaded.containers else {}
    found = []
    for channel in channels:
        container = loaded.containers.get(channel.name)
        found.append(
            ChannelContent(
                channel=channel,
                lot=loaded.inks.get(channel.name, ""),
                container=container,
                left=None if container is None else left[container.pk],
            )
        )
    return found
