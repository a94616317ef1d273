"""How far the choosing of years is: on the programme's page, and for the script that asks."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

from inventory.models import ProgrammeRun

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Programme

SILENT_AFTER = timedelta(minutes=2)


@dataclass(frozen=True)
class RunWords:
    """The newest solving of a programme as its page says it."""

    is_open: bool
    is_silent: bool
    started_at: datetime
    seen_at: datetime
    words: str
    error: str


def newest_run(programme: Programme, now: datetime) -> RunWords | None:
    """Return the newest solving; silent where nothing was heard of it for two minutes."""
    rows = ProgrammeRun.objects.filter(programme=programme)
    run = rows.order_by("-started_at", "-pk").first()
    if run is None:
        return None
    is_unfinished = run.finished_at is None
    is_silent = is_unfinished and now - run.seen_at > SILENT_AFTER
    words = run.words or "it has just begun"
    return RunWords(
        is_unfinished and not is_silent,
        is_silent,
        run.started_at,
        run.seen_at,
        words,
        run.error,
    )
