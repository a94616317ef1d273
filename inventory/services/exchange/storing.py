"""Operations written down: what was sent, what it needs, and the photos it announced."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import DeviceOperation, OperationNeed, PhotoUpload
from inventory.services.adding import add_records
from inventory.services.photo_uploads import attach_waiting

if TYPE_CHECKING:
    import uuid
    from collections.abc import Collection, Sequence

    from inventory.services.exchange.applying import Applying, Trial
    from inventory.services.exchange.known import Known

CHANGING_FIELDS = (
    "state",
    "code",
    "sentence",
    "result",
    "settled_at",
    "settled_by",
    "settled_reason",
)
MOST_AT_ONCE = 200


def store(applying: Applying, new: Sequence[Trial]) -> None:
    """Write down what came of operations; ``new`` came in now, the others were here."""
    pointed_to = [each.operation for each in new if each.needs or each.content.photos]
    DeviceOperation.objects.bulk_create(pointed_to)
    others = [each for each in new if not (each.needs or each.content.photos)]
    add_records([each.operation for each in others])
    OperationNeed.objects.bulk_create(
        OperationNeed(operation=each.operation, needed_uuid=needed)
        for each in new
        for needed in each.needs
    )
    added = {each.operation.client_uuid for each in new}
    changed = sorted(
        (each for key, each in applying.changed.items() if key not in added),
        key=lambda each: each.pk,
    )
    DeviceOperation.objects.bulk_update(changed, CHANGING_FIELDS, batch_size=MOST_AT_ONCE)
    moved = announce_photos(new, applying.known)
    # Bytes that came while their operation was held, or that follow a corrected one.
    waited = [each for each in changed if each.state == DeviceOperation.State.APPLIED]
    ids = {each.pk for each in waited} | {each.operation_id for each in moved}
    if ids:
        attach_waiting(sorted(ids), applying.now)


def announce_photos(trials: Sequence[Trial], known: Known) -> list[PhotoUpload]:
    """
    Expect the photos that operations announce; return those that came before.

    A photo of an operation that was sent again, corrected, goes with the corrected one.
    """
    announced = [
        (each.operation, photo)
        for each in sorted(trials, key=lambda each: each.order)
        for photo in each.content.photos
    ]
    if not announced:
        return []
    here: dict[uuid.UUID, PhotoUpload] = {
        upload.client_uuid: upload
        for upload in PhotoUpload.objects.filter(
            client_uuid__in=[photo.photo_uuid for _operation, photo in announced]
        ).select_related("operation")
    }
    new: list[PhotoUpload] = []
    moved: list[PhotoUpload] = []
    for operation, photo in announced:
        upload = here.get(photo.photo_uuid)
        if upload is None:
            upload = here[photo.photo_uuid] = PhotoUpload(
                operation=operation,
                client_uuid=photo.photo_uuid,
                role=photo.role,
                caption=photo.caption,
                sha256=photo.sha256,
                size_bytes=photo.size_bytes,
            )
            new.append(upload)
        elif _goes_with(upload, known.replaced_by(operation)) and (
            upload.sha256 == photo.sha256
        ):
            upload.operation = operation
            if upload not in new:
                moved.append(upload)
    PhotoUpload.objects.bulk_create(new)
    PhotoUpload.objects.bulk_update(moved, ["operation"])
    return moved


def _goes_with(upload: PhotoUpload, replaced: Collection[uuid.UUID]) -> bool:
    return upload.photo_id is None and upload.operation.client_uuid in replaced
