"""What cannot be true of a sign, and what is asked about first, before a visit is stored."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID
from zoneinfo import ZoneInfo

from django.utils import timezone

from inventory.engineering.inspection.readings import check_taken_at
from inventory.engineering.inspection.uncertainty import MAXIMUM_READING_COUNT
from inventory.engineering.inspection.vocabulary import How
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Inspection, Sign
from inventory.models.signs import DatePrecision
from inventory.services.fields import check_fields, check_storable
from inventory.services.relinks import signs_kept_for

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from typing import Any

    from inventory.engineering.standards.vocabulary import Color
    from inventory.models import Organisation
    from inventory.services.inspection_input import UnderstoodSet

ASK_TO_CONFIRM = (
    "If it is so, confirm it and send it again; it is then kept as it is, and noted."
)
CONFIRMED = "Confirmed by the person who recorded it:"
MINUTES_OF_A_DAY = 24 * 60
_HOW = frozenset(Inspection.How.values)
_SURFACE_STATES = frozenset(Inspection.SurfaceState.values)
ONE_DAY = timedelta(days=1)  # a calendar day lies within a day of any moment in it, anywhere


def agency_of(sign: Sign) -> Organisation:
    """Return the agency whose sign it is; shop stock is refused."""
    if sign.owner is None or sign.state == Sign.State.IN_STOCK:
        msg = (
            f"Sign {sign.pk} is shop stock and stands nowhere; readings of new faces are kept "
            "as quality readings of their print run."
        )
        raise StateConflictError(msg)
    return sign.owner


def check_visit(
    inspection: Inspection,
    sign: Sign,
    owner: Organisation,
    sets: Sequence[UnderstoodSet],
    now: datetime,
) -> None:
    """Refuse what cannot be true of this sign."""
    if not _fits(inspection):
        check_fields(
            inspection, exclude=["organisation", "sign", "inspector", "instrument", "corrects"]
        )
    check_storable(inspection.note, "note")
    taken_at, how = inspection.taken_at, How(inspection.how)
    if timezone.is_naive(taken_at):
        msg = f"The time {taken_at:%Y-%m-%d %H:%M} has no time zone; send its offset from UTC."
        raise OutOfRangeError(msg)
    zone = ZoneInfo(owner.time_zone)
    check_taken_at(taken_at.astimezone(zone), now.astimezone(zone))
    if sets and not how.is_instrument:
        msg = (
            f"Readings were sent with an inspection that was {how.words}; choose hand-held or "
            "mobile instrument, or leave the readings out."
        )
        raise OutOfRangeError(msg)
    instrument = inspection.instrument
    if instrument is not None and instrument.organisation_id != owner.pk:
        msg = f"{instrument} does not belong to {owner}; choose one of its own."
        raise StateConflictError(msg)
    corrects = inspection.corrects
    if corrects is not None and corrects.organisation_id != owner.pk:
        msg = f"Inspection {corrects.pk} is not of {owner}; only its own can be corrected."
        raise StateConflictError(msg)
    day = owner.day_of(taken_at)
    if (
        sign.installed_on is not None
        and sign.installed_precision == DatePrecision.DAY
        and day < sign.installed_on - ONE_DAY
    ):
        msg = (
            f"The inspection is of {day:%Y-%m-%d}, but this face went up on "
            f"{sign.installed_on:%Y-%m-%d}; what was read then was the face before it. Check "
            "the date, or record it on the earlier face."
        )
        raise StateConflictError(msg)
    _check_not_merged(sign)
    if sign.removed_on is not None and day > sign.removed_on + ONE_DAY:
        msg = (
            f"The inspection is of {day:%Y-%m-%d}, but the sign was taken down on "
            f"{sign.removed_on:%Y-%m-%d}. Record it on the face that replaced it."
        )
        raise StateConflictError(msg)


def _check_not_merged(sign: Sign) -> None:
    """Refuse a sign that was recorded twice: what is stored on it now would count nowhere."""
    if sign.state != Sign.State.REMOVED:
        return
    kept = signs_kept_for([sign.pk]).get(sign.pk)
    if kept is not None:
        msg = (
            f"Sign {sign.pk} was recorded twice: it is sign {kept}. Record this on sign {kept}."
        )
        raise StateConflictError(msg)


def _fits(inspection: Inspection) -> bool:
    """Return whether a visit plainly fits its record, as nearly all do; else ask each field."""
    return (
        inspection.how in _HOW
        and inspection.surface_state in _SURFACE_STATES
        and type(inspection.note) is str
        and type(inspection.client_uuid) is UUID
        and type(inspection.taken_at) is datetime
        and type(inspection.device_offset_minutes) is int
        and abs(inspection.device_offset_minutes) <= MINUTES_OF_A_DAY
    )


def refuse_empty(is_empty: bool) -> None:
    """Refuse a visit that says nothing."""
    if is_empty:
        msg = (
            "The inspection says nothing: no reading, nothing seen, no photo and no note. Add "
            "one of them; a sign found sound is a general condition 'sound'."
        )
        raise OutOfRangeError(msg)


def check_number(sets: Sequence[UnderstoodSet]) -> None:
    """Refuse more readings of a colour than are averaged exactly."""
    numbers: Counter[Color] = Counter()
    for each in sets:
        numbers[each.color] += len(each.values)
    for color, number in numbers.items():
        if number > MAXIMUM_READING_COUNT:
            msg = (
                f"{number} readings of {color.words} were sent in one inspection; at most "
                f"{MAXIMUM_READING_COUNT} are averaged. Send them as several inspections."
            )
            raise OutOfRangeError(msg)


def check_evidence_storable(evidence: Mapping[str, Any]) -> None:
    """Refuse evidence that a database cannot hold as it was stated."""
    try:
        json.dumps(evidence, allow_nan=False)
    except (TypeError, ValueError) as error:
        msg = "The evidence of the rating holds something that is no text, number or list."
        raise OutOfRangeError(msg) from error
    for text in _texts(evidence):
        check_storable(text, "evidence of the rating")


def _texts(stated: object) -> Iterator[str]:
    """Give every text within evidence, names included."""
    if isinstance(stated, str):
        yield stated
    elif isinstance(stated, Mapping):
        for name, each in stated.items():
            yield str(name)
            yield from _texts(each)
    elif isinstance(stated, list | tuple):
        for each in stated:
            yield from _texts(each)
