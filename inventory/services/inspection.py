"""Inspections as they come in from the roadside: checked, stored once, and judged."""

from __future__ import annotations

import uuid
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import InventoryError
from inventory.services.inspection_batch import VisitBatch
from inventory.services.inspection_input import (
    ObservationInput,
    PhotoInput,
    ReadingSetInput,
    Visit,
    VisualRatingInput,
)
from inventory.services.photos import store_photo

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import Inspection, Instrument, Sign, User

__all__ = [
    "ObservationInput",
    "PhotoInput",
    "ReadingSetInput",
    "VisualRatingInput",
    "record_inspection",
    "store_photo",
]


@transaction.atomic
def record_inspection(
    *,
    sign: Sign,
    taken_at: datetime,
    how: str,
    inspector: User | None = None,
    client_uuid: uuid.UUID | None = None,
    surface_state: str = "",
    instrument: Instrument | None = None,
    reading_sets: Sequence[ReadingSetInput] = (),
    observations: Sequence[ObservationInput] = (),
    visual_rating: VisualRatingInput | None = None,
    note: str = "",
    photos: Sequence[PhotoInput] = (),
    device_offset_minutes: int = 0,
    corrects: Inspection | None = None,
    is_confirmed: bool = False,
    is_judged_later: bool = False,
    now: datetime | None = None,
) -> Inspection:
    """
    Store one visit to a sign and judge the sign anew; sent twice, it is stored once.

    The same ``client_uuid`` with other content is refused, and what was stored stays. With
    ``corrects``, the earlier inspection stays on record and is no longer judged. An agency
    that has set no rules yet keeps the inspection; the sign is judged once it has. What is
    unlikely but possible is refused until the person confirms it with ``is_confirmed``, and is
    then noted. With ``is_judged_later`` the caller stores many, and judges their signs itself.
    """
    visit = Visit(
        sign_id=sign.pk,
        taken_at=taken_at,
        how=how,
        inspector=inspector,
        client_uuid=client_uuid or uuid.uuid4(),
        surface_state=surface_state,
        instrument_id=None if instrument is None else instrument.pk,
        reading_sets=reading_sets,
        observations=observations,
        visual_rating=visual_rating,
        note=note,
        device_offset_minutes=device_offset_minutes,
        corrects_id=None if corrects is None else corrects.pk,
        is_confirmed=is_confirmed,
    )
    batch = VisitBatch(now or timezone.now())
    (outcome,) = batch.store([visit], {0: photos})
    if isinstance(outcome, InventoryError):
        raise outcome
    if not is_judged_later:
        batch.judge()
    return outcome
