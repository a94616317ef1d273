"""Work a crew adds on the road: done there and then, or seen and still to be done."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import PackageStop, WorkPackage
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.work_packages import MOST_STOPS, record_stop

if TYPE_CHECKING:
    import uuid
    from datetime import datetime

    from inventory.models import Position, User


@transaction.atomic
def add_work(
    *,
    package: WorkPackage,
    position: Position,
    task: str,
    note: str = "",
    outcome: str = "",
    reason: str = "",
    by: User | None = None,
    happened_at: datetime | None = None,
    client_uuid: uuid.UUID | None = None,
    now: datetime | None = None,
) -> PackageStop:
    """
    Add a stop to a package the crew has, at its end; sent twice, it is added once.

    With an outcome it is done, or not done for a reason, at once. Without one it is still to be
    done: when the package is closed, the next crew days take it up. Taken of a closed package
    too, since a crew out of coverage may say so late.
    """
    now = now or timezone.now()
    locked: WorkPackage = (
        WorkPackage.objects.select_for_update(of=("self",))
        .select_related("organisation")
        .get(pk=package.pk)
    )
    known = _known(client_uuid, locked, position, task)
    if known is not None:
        return known
    _check(locked, position, task)
    count = locked.stops.aggregate(last=Max("number"))["last"] or 0
    stop = PackageStop(
        package=locked,
        number=count + 1,
        position=position,
        task=task,
        note=note.strip(),
        added_by=by,
        added_uuid=client_uuid,
    )
    check_fields(stop, exclude=["package", "position", "added_by"])
    try:
        with transaction.atomic():
            stop.save()
    except IntegrityError:
        # A request about another package stored the same key in the meantime.
        known = _known(client_uuid, locked, position, task)
        if known is None:
            raise
        return known
    log(
        organisation=locked.organisation,
        actor=by,
        verb="add work",
        text=(
            f"Package '{locked.title}': the crew added stop {stop.number}, "
            f"{stop.get_task_display()} at {position}."
        ),
        at=now,
        detail={"package": locked.pk, "stop": stop.pk},
    )
    if outcome:
        record_stop(
            stop=stop,
            outcome=outcome,
            reason=reason,
            by=by,
            happened_at=happened_at,
            client_uuid=client_uuid,
            now=now,
        )
    return stop


def _known(
    client_uuid: uuid.UUID | None, package: WorkPackage, position: Position, task: str
) -> PackageStop | None:
    """Return the stop already added under this key; other content is refused."""
    if client_uuid is None:
        return None
    known: PackageStop | None = PackageStop.objects.filter(added_uuid=client_uuid).first()
    if known is not None and (known.package_id, known.position_id, known.task) != (
        package.pk,
        position.pk,
        task,
    ):
        msg = (
            f"Other work was already added under the key {client_uuid}; it stays as it is. "
            "Send this under a key of its own."
        )
        raise StateConflictError(msg)
    return known


def _check(package: WorkPackage, position: Position, task: str) -> None:
    if package.state == WorkPackage.State.DRAFT:
        msg = (
            f"The package '{package.title}' is still being put together at the desk; add the "
            "stop there."
        )
        raise StateConflictError(msg)
    if task not in PackageStop.Task.values:
        msg = f"'{task}' is no task; use one of {', '.join(PackageStop.Task.values)}."
        raise OutOfRangeError(msg)
    if position.organisation_id != package.organisation_id:
        msg = f"{position} does not belong to {package.organisation}; pick a place of its own."
        raise StateConflictError(msg)
    same = package.stops.filter(position=position, task=task).order_by("number").first()
    if same is not None:
        msg = (
            f"Stop {same.number} of '{package.title}' is this place and task already; say "
            "there what came of it."
        )
        raise StateConflictError(msg)
    if package.stops.count() >= MOST_STOPS:
        msg = (
            f"The package '{package.title}' has {MOST_STOPS} stops, the most there can be; "
            "report it on the sign's page instead."
        )
        raise OutOfRangeError(msg)
