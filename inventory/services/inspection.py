"""Inspections as they come in from the roadside: checked, stored once, and judged."""

from __future__ import annotations

import hashlib
import uuid
from collections import Counter
from datetime import timedelta
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.engineering.inspection.readings import check_taken_at
from inventory.engineering.inspection.uncertainty import MAXIMUM_READING_COUNT
from inventory.engineering.inspection.visual import check_evidence
from inventory.engineering.inspection.vocabulary import How
from inventory.errors import OutOfRangeError, StateConflictError, UnlikelyError
from inventory.models import (
    ElementAssessment,
    Inspection,
    Observation,
    Reading,
    ReadingSet,
    Sign,
    VisualRating,
)
from inventory.models.signs import DatePrecision
from inventory.services.assessment import assess_sign
from inventory.services.fields import check_fields
from inventory.services.flags import flag_inspection, lock_instrument
from inventory.services.inspection_input import (
    ObservationInput,
    PhotoInput,
    ReadingSetInput,
    UnderstoodSet,
    VisualRatingInput,
    find_unlikely,
    understand,
)
from inventory.services.judging import latest_assessments
from inventory.services.logbook import log
from inventory.services.photos import store_photo
from inventory.services.refusals import settle_answered
from inventory.services.standing import lock_signs, policy_or_none, refresh_standing

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from decimal import Decimal

    from inventory.engineering.standards.vocabulary import Color
    from inventory.models import Instrument, Organisation, User

__all__ = [
    "ObservationInput",
    "PhotoInput",
    "ReadingSetInput",
    "VisualRatingInput",
    "record_inspection",
    "store_photo",
]

ASK_TO_CONFIRM = (
    "If it is so, confirm it and send it again; it is then kept as it is, and noted."
)
CONFIRMED = "Confirmed by the person who recorded it:"
ONE_DAY = timedelta(days=1)  # a calendar day lies within a day of any moment in it, anywhere


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
    now = now or timezone.now()
    # An instrument is locked before signs, so that a check of it knows of these readings.
    instrument = lock_instrument(instrument) if instrument is not None else None
    # Both signs of a correction are judged anew below: locked together, in a fixed order.
    wrongly = corrects.sign_id if corrects is not None else sign.pk
    signs = {each.pk: each for each in lock_signs([sign.pk, wrongly])}
    locked = signs[sign.pk]
    owner = _agency_of(locked)
    sets = [understand(each) for each in reading_sets]
    unlikely = " ".join(find_unlikely(sets, instrument))
    if is_confirmed and unlikely:
        note = f"{note.strip()}\n{CONFIRMED} {unlikely}"
    inspection = Inspection(
        organisation=owner,
        client_uuid=client_uuid or uuid.uuid4(),
        sign=locked,
        taken_at=taken_at,
        recorded_at=now,
        device_offset_minutes=device_offset_minutes,
        inspector=inspector,
        how=how,
        surface_state=surface_state,
        instrument=instrument,
        note=note.strip(),
        corrects=corrects,
    )
    wanted = _content_sent(inspection, sets, observations, visual_rating, photos)
    known = _known(inspection.client_uuid, wanted)
    if known is not None:
        return known
    _check(inspection, locked, owner, sets, now)
    if unlikely and not is_confirmed:
        msg = f"{unlikely} {ASK_TO_CONFIRM}"
        raise UnlikelyError(msg)
    _check_not_empty(sets, observations, visual_rating, inspection.note, photos)
    _check_number(sets)
    if visual_rating is not None:
        check_evidence(
            visual_rating.procedure,
            visual_rating.evidence,
            seen_on=owner.day_of(taken_at),
            levels=_levels_of(locked),
        )
    try:
        with transaction.atomic():
            inspection.save()
    except IntegrityError:
        # A request for another sign stored the same key in the meantime.
        known = _known(inspection.client_uuid, wanted)
        if known is None:
            raise
        return known
    _store_sets(inspection, sets)
    _store_seen(inspection, observations, visual_rating)
    for photo in photos:
        store_photo(
            sign=locked,
            content=photo.content,
            inspection=inspection,
            taken_at=photo.taken_at or taken_at,
            by=inspector,
            caption=photo.caption,
            client_uuid=photo.client_uuid,
            is_drawn=photo.is_drawn,
            now=now,
        )
    log(
        organisation=owner,
        actor=inspector,
        verb="record inspection",
        text=_words(inspection, sets, observations, visual_rating),
        at=now,
        sign=locked,
        detail={"inspection": inspection.pk},
    )
    if sets:
        flag_inspection(inspection=inspection, now=now)
    settle_answered(
        organisation=owner, client_uuid=inspection.client_uuid, by=inspector, now=now
    )
    if not is_judged_later:
        for each in signs.values():
            _judge_anew(each, owner, inspector, now)
    return inspection


def _judge_anew(sign: Sign, owner: Organisation, by: User | None, now: datetime) -> None:
    if policy_or_none(owner, now) is None:
        refresh_standing(sign=sign, now=now)
    else:
        assess_sign(sign=sign, by=by, now=now)


def _agency_of(sign: Sign) -> Organisation:
    if sign.owner is None or sign.state == Sign.State.IN_STOCK:
        msg = (
            f"Sign {sign.pk} is shop stock and stands nowhere; readings of new faces are kept "
            "as quality readings of their print run."
        )
        raise StateConflictError(msg)
    return sign.owner


def _check(
    inspection: Inspection,
    sign: Sign,
    owner: Organisation,
    sets: Sequence[UnderstoodSet],
    now: datetime,
) -> None:
    """Refuse what cannot be true of this sign."""
    check_fields(
        inspection, exclude=["organisation", "sign", "inspector", "instrument", "corrects"]
    )
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
    if sign.removed_on is not None and day > sign.removed_on + ONE_DAY:
        msg = (
            f"The inspection is of {day:%Y-%m-%d}, but the sign was taken down on "
            f"{sign.removed_on:%Y-%m-%d}. Record it on the face that replaced it."
        )
        raise StateConflictError(msg)


def _check_not_empty(
    sets: Sequence[UnderstoodSet],
    observations: Sequence[ObservationInput],
    visual_rating: VisualRatingInput | None,
    note: str,
    photos: Sequence[PhotoInput],
) -> None:
    if not (sets or observations or visual_rating or note or photos):
        msg = (
            "The inspection says nothing: no reading, nothing seen, no photo and no note. Add "
            "one of them; a sign found sound is a general condition 'sound'."
        )
        raise OutOfRangeError(msg)


def _check_number(sets: Sequence[UnderstoodSet]) -> None:
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


def _levels_of(sign: Sign) -> dict[str, Decimal]:
    """Return the level of each colour as the sign was last judged."""
    newest = latest_assessments([sign.pk]).get(sign.pk)
    if newest is None:
        return {}
    elements = newest.elements.filter(kind=ElementAssessment.Kind.COLOR, level__isnull=False)
    return dict(elements.values_list("color", "level"))


def _store_sets(inspection: Inspection, sets: Sequence[UnderstoodSet]) -> None:
    rows = ReadingSet.objects.bulk_create(
        ReadingSet(
            inspection=inspection,
            number=number,
            color=each.color.value,
            observation_angle_deg=each.observation_angle_deg,
            entrance_angle_deg=each.entrance_angle_deg,
            rotation_angle_deg=each.rotation_angle_deg,
        )
        for number, each in enumerate(sets, start=1)
    )
    readings = [
        Reading(
            reading_set=row,
            number=number,
            typed=typed,
            ra_cd_lx_m2=value,
            place_on_face=each.places_on_face[number - 1] if each.places_on_face else "",
        )
        for row, each in zip(rows, sets, strict=True)
        for number, (typed, value) in enumerate(
            zip(each.typed, each.values, strict=True), start=1
        )
    ]
    for reading in readings:
        check_fields(reading, exclude=["reading_set"])
    Reading.objects.bulk_create(readings)


def _store_seen(
    inspection: Inspection,
    observations: Sequence[ObservationInput],
    visual_rating: VisualRatingInput | None,
) -> None:
    rows = [
        Observation(
            inspection=inspection,
            kind=each.kind,
            severity=each.severity,
            note=each.note.strip(),
        )
        for each in observations
    ]
    for row in rows:
        check_fields(row, exclude=["inspection"])
    Observation.objects.bulk_create(rows)
    if visual_rating is not None:
        rating = VisualRating(
            inspection=inspection,
            procedure=visual_rating.procedure,
            is_adequate=visual_rating.is_adequate,
            evidence=dict(visual_rating.evidence),
        )
        check_fields(rating, exclude=["inspection", "evidence"])
        rating.save()


def _known(client_uuid: uuid.UUID, wanted: dict[str, Any]) -> Inspection | None:
    """Return the inspection already stored under this key; other content is refused."""
    known: Inspection | None = (
        Inspection.objects.filter(client_uuid=client_uuid)
        .select_related("organisation")
        .prefetch_related("reading_sets__readings", "observations", "visual_ratings", "photos")
        .first()
    )
    if known is None:
        return None
    stored = _content_stored(known)
    # Photos may have been added to the inspection since: those sent must be among them.
    sent_photos = set(wanted["photos"])
    if stored | {"photos": ""} != wanted | {"photos": ""} or not (
        sent_photos <= set(stored["photos"])
    ):
        msg = (
            f"An inspection with other content was already stored under the key {client_uuid} "
            f"(sign {known.sign_id}, {known.organisation.clock_words(known.taken_at)}); it "
            "stays as it is. Send this one under a key of its own, or as a correction."
        )
        raise StateConflictError(msg)
    return known


def _content_sent(
    inspection: Inspection,
    sets: Sequence[UnderstoodSet],
    observations: Sequence[ObservationInput],
    visual_rating: VisualRatingInput | None,
    photos: Sequence[PhotoInput],
) -> dict[str, Any]:
    """Return what an inspection says, in the form in which two are compared."""
    return {
        **_head(inspection),
        "sets": [
            (
                each.color.value,
                each.observation_angle_deg,
                each.entrance_angle_deg,
                each.rotation_angle_deg,
                list(each.typed),
            )
            for each in sets
        ],
        "observations": sorted(
            (each.kind, each.severity, each.note.strip()) for each in observations
        ),
        "ratings": []
        if visual_rating is None
        else [
            (visual_rating.procedure, visual_rating.is_adequate, dict(visual_rating.evidence))
        ],
        "photos": [hashlib.sha256(each.content).hexdigest() for each in photos],
    }


def _content_stored(inspection: Inspection) -> dict[str, Any]:
    return {
        **_head(inspection),
        "sets": [
            (
                each.color,
                each.observation_angle_deg,
                each.entrance_angle_deg,
                each.rotation_angle_deg,
                [reading.typed for reading in each.readings.all()],
            )
            for each in inspection.reading_sets.all()
        ],
        "observations": sorted(
            (each.kind, each.severity, each.note) for each in inspection.observations.all()
        ),
        "ratings": [
            (each.procedure, each.is_adequate, each.evidence)
            for each in inspection.visual_ratings.all()
        ],
        "photos": [each.sha256 for each in inspection.photos.all()],
    }


def _head(inspection: Inspection) -> dict[str, Any]:
    return {
        "sign": inspection.sign_id,
        "taken_at": inspection.taken_at,
        "how": str(inspection.how),
        "surface_state": str(inspection.surface_state),
        "instrument": inspection.instrument_id,
        "note": inspection.note,
        "corrects": inspection.corrects_id,
    }


def _words(
    inspection: Inspection,
    sets: Sequence[UnderstoodSet],
    observations: Sequence[ObservationInput],
    visual_rating: VisualRatingInput | None,
) -> str:
    """Return what was recorded, as the logbook says it."""
    said = [f"{each.color.words} {', '.join(each.typed)} cd/lx/m²" for each in sets]
    said += [
        f"{Observation.Kind(each.kind).label} "
        f"({Observation.Severity(each.severity).name.lower()})"
        for each in observations
    ]
    if visual_rating is not None:
        said.append(
            "adequate by night" if visual_rating.is_adequate else "not adequate by night"
        )
    what = "; ".join(said) or "a note"
    corrected = (
        f" Corrects inspection {inspection.corrects_id}." if inspection.corrects_id else ""
    )
    day = inspection.organisation.day_of(inspection.taken_at)
    return f"Inspected on {day:%Y-%m-%d}: {what}.{corrected}"
