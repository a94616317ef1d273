"""One round of forecasting at a time for an agency, and how far it is."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.utils import timezone

from inventory.errors import StateConflictError
from inventory.models import ForecastRun, Organisation

if TYPE_CHECKING:
    from inventory.models import User

TAKEN_OVER_AFTER = timedelta(minutes=15)
TOLD_EVERY = timedelta(seconds=2)


@dataclass(slots=True)
class RunUnderWay:
    """A round that this process makes; every step says that it is still its own."""

    run: ForecastRun
    stage: str = ForecastRun.Stage.GATHERING
    told_at: datetime | None = field(default=None)

    def tell(self, stage: str, done: int, total: int) -> None:
        """Keep how far it is, no more often than every two seconds within a stage."""
        now = timezone.now()
        if stage == self.stage and self.told_at is not None and now - self.told_at < TOLD_EVERY:
            return
        self.stage, self.told_at = stage, now
        self.hold(stage=stage, done=done, total=total)

    def hold(self, **changes: Any) -> None:
        """Store changes of the round; refuse to go on if it was taken over meanwhile."""
        found = ForecastRun.objects.filter(pk=self.run.pk, finished_at__isnull=True)
        if not found.update(seen_at=timezone.now(), **changes):
            msg = (
                f"The forecast of {self.run.organisation} that began at "
                f"{self.run.organisation.clock_words(self.run.started_at)} was taken over by "
                "another one; what it stored is kept. Nothing more is to be done here."
            )
            raise StateConflictError(msg)

    def finish(self, counts: dict[str, Any], *, is_whole: bool) -> None:
        """Close the round; one that broke off keeps the stage it reached."""
        changes: dict[str, Any] = {"finished_at": timezone.now(), "counts": counts}
        if is_whole:
            changes["stage"] = ForecastRun.Stage.DONE
        ForecastRun.objects.filter(pk=self.run.pk, finished_at__isnull=True).update(**changes)


@transaction.atomic
def begin_run(*, organisation: Organisation, by: User | None, now: datetime) -> RunUnderWay:
    """
    Begin a round of forecasting; a second one at the same time is refused.

    One that gave no sign of life for fifteen minutes was cut off: it is closed and taken over.
    """
    Organisation.objects.select_for_update().get(pk=organisation.pk)
    clock = timezone.now()
    known = ForecastRun.objects.owned_by(organisation).filter(finished_at__isnull=True).first()
    if known is not None:
        if clock - known.seen_at < TAKEN_OVER_AFTER:
            msg = (
                f"A forecast of {organisation} is under way since "
                f"{organisation.clock_words(known.started_at)} ({known.get_stage_display()}, "
                f"{known.done} of {known.total}); wait until it is done. If it was cut off, it "
                "can be begun again 15 minutes after its last step."
            )
            raise StateConflictError(msg)
        known.finished_at = clock
        known.save(update_fields=["finished_at"])
    run: ForecastRun = ForecastRun.objects.create(
        organisation=organisation, started_at=now, seen_at=clock, by=by
    )
    return RunUnderWay(run)
