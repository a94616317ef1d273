"""Visits to signs, stored many at a time: each checked by itself, their signs judged once."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from decimal import Decimal
from itertools import repeat
from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.engineering.inspection.visual import check_evidence
from inventory.errors import InventoryError, OutOfRangeError, StateConflictError, UnlikelyError
from inventory.models import (
    ElementAssessment,
    Inspection,
    Observation,
    Reading,
    ReadingSet,
    VisualRating,
)
from inventory.services.adding import add_rows
from inventory.services.assessment import judge_locked
from inventory.services.damage_visits import note_visits
from inventory.services.fields import check_fields, check_storable
from inventory.services.flags import flag_inspections, lock_instruments
from inventory.services.garbage import collection_put_off
from inventory.services.inspection_checks import (
    ASK_TO_CONFIRM,
    CONFIRMED,
    agency_of,
    check_evidence_storable,
    check_number,
    check_visit,
    refuse_empty,
)
from inventory.services.inspection_content import (
    check_same,
    content_sent,
    content_stored,
    logbook_words,
    stored_under,
)
from inventory.services.inspection_input import (
    ObservationInput,
    PhotoInput,
    ReadingSetInput,
    UnderstoodSet,
    Visit,
    VisualRatingInput,
    find_unlikely,
    understand,
)
from inventory.services.judging import latest_assessments
from inventory.services.logbook import entry, log_many
from inventory.services.photos import store_photo
from inventory.services.refusals import settle_answered
from inventory.services.standing import in_steps, lock_signs, policy_or_none

if TYPE_CHECKING:
    import uuid
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime
    from typing import Any

    from inventory.models import Instrument, Organisation, Sign, User
    from inventory.services.logbook import Entry

__all__ = [
    "ObservationInput",
    "ReadingSetInput",
    "Visit",
    "VisualRatingInput",
    "record_inspections",
]

READING_COLUMNS = ("reading_set_id", "number", "typed", "ra_cd_lx_m2", "place_on_face")

Outcome = Inspection | InventoryError


@transaction.atomic
def record_inspections(
    *, organisation: Organisation, visits: Sequence[Visit], now: datetime | None = None
) -> list[Inspection | InventoryError]:
    """
    Store many visits to an agency's signs; return, for each, what was stored or why not.

    Each is stored or refused as by ``record_inspection``, and a refused one leaves nothing. A
    ``client_uuid`` that is stored already, or comes twice, stands for the one inspection. The
    signs are locked in a fixed order, and judged once for all their visits.
    """
    now = now or timezone.now()
    outcomes: list[Outcome] = []
    with collection_put_off():
        for part in _in_turn(visits):
            batch = VisitBatch(now, organisation)
            outcomes += batch.store(part)
            batch.judge()
    return outcomes


def _in_turn(visits: Sequence[Visit]) -> Iterator[list[Visit]]:
    """
    Part visits where one leans on the verdict that those before it lead to.

    A rating by night is held against the levels its sign was last judged by.
    """
    part: list[Visit] = []
    seen: set[int] = set()
    for visit in visits:
        if visit.visual_rating is not None and visit.sign_id in seen:
            yield part
            part, seen = [], set()
        part.append(visit)
        seen.add(visit.sign_id)
    if part:
        yield part


@dataclass(slots=True)
class _Prepared:
    """One visit that was found good, with the rows it becomes."""

    number: int
    visit: Visit
    inspection: Inspection
    sets: list[UnderstoodSet]
    photos: Sequence[PhotoInput]
    set_rows: list[ReadingSet]
    observation_rows: list[Observation]
    rating_rows: list[VisualRating]

    def readings(self) -> Iterator[tuple[Any, ...]]:
        """Give the rows of the values, once their sets are stored."""
        for row, each in zip(self.set_rows, self.sets, strict=True):
            places = each.places_on_face or ("",) * len(each.typed)
            numbers = range(1, len(each.typed) + 1)
            yield from zip(
                repeat(row.pk), numbers, each.typed, each.values, places, strict=False
            )

    def content(self) -> dict[str, Any]:
        """Return what the visit says, to be compared."""
        visit = self.visit
        return content_sent(
            self.inspection, self.sets, visit.observations, visit.visual_rating, self.photos
        )


class VisitBatch:
    """
    Visits being stored together, within the caller's transaction.

    Without ``organisation`` each sign is inspected for whoever owns it.
    """

    def __init__(self, now: datetime, organisation: Organisation | None = None) -> None:
        self._now = now
        self._organisation = organisation
        self._instruments: dict[int, Instrument] = {}
        self._corrected: dict[int, Inspection] = {}
        self._signs: dict[int, Sign] = {}
        self._known: dict[uuid.UUID, Inspection] = {}
        self._levels: dict[int, dict[str, Decimal]] = {}
        self._prepared: dict[uuid.UUID, _Prepared] = {}
        self._outcomes: dict[int, Outcome] = {}
        self._inspector_of: dict[int, User | None] = {}

    def store(
        self, visits: Sequence[Visit], photos: Mapping[int, Sequence[PhotoInput]] | None = None
    ) -> list[Outcome]:
        """
        Store visits that do not lean on each other; return what became of each, in their order.

        ``photos`` are those of visits by their place. A photo that is refused is raised, for
        the caller to take the visits back: only one visit at a time comes with photos.
        """
        photos = photos or {}
        self._load(visits)
        for number, visit in enumerate(visits):
            try:
                self._take(number, visit, photos.get(number, ()))
            except InventoryError as error:
                self._outcomes[number] = error
        self._insert()
        return [self._outcomes[number] for number in range(len(visits))]

    def judge(self) -> None:
        """Judge the signs of what was stored, and rebuild how they stand."""
        signs_of: dict[Organisation, list[int]] = defaultdict(list)
        for sign_id in sorted(self._inspector_of):
            owner = self._signs[sign_id].owner
            if owner is not None:
                signs_of[owner].append(sign_id)
        for owner, sign_ids in signs_of.items():
            for step in in_steps(sign_ids):
                judge_locked(
                    [self._signs[sign_id] for sign_id in step],
                    owner=owner,
                    policy=policy_or_none(owner, self._now),
                    by=self._inspector_of,
                    now=self._now,
                )

    def _load(self, visits: Sequence[Visit]) -> None:
        """Lock what the visits are about, in the one order that all use, and look it up."""
        instruments = {v.instrument_id for v in visits if v.instrument_id is not None}
        corrected = {v.corrects_id for v in visits if v.corrects_id is not None}
        if instruments:
            # Before signs, so that a check of an instrument knows of these readings.
            self._instruments = {each.pk: each for each in lock_instruments(instruments)}
        if corrected:
            self._corrected = Inspection.objects.in_bulk(corrected)
        # Both signs of a correction are judged anew: all are locked together.
        sign_ids = {visit.sign_id for visit in visits}
        sign_ids |= {each.sign_id for each in self._corrected.values()}
        self._signs = {each.pk: each for each in lock_signs(sorted(sign_ids))}
        self._known = stored_under([visit.client_uuid for visit in visits])
        rated = {visit.sign_id for visit in visits if visit.visual_rating is not None}
        if rated:
            self._levels = _levels_of(sorted(rated))

    def _take(self, number: int, visit: Visit, photos: Sequence[PhotoInput]) -> None:
        """Prepare one visit, find it known, or refuse it."""
        now = self._now
        sign, owner = self._sign_and_owner(visit.sign_id)
        instrument = _found(self._instruments, visit.instrument_id, "instrument")
        corrects = _found(self._corrected, visit.corrects_id, "inspection")
        sets = [understand(each) for each in visit.reading_sets]
        unlikely = " ".join(find_unlikely(sets, instrument))
        note = visit.note
        if visit.is_confirmed and unlikely:
            note = f"{note.strip()}\n{CONFIRMED} {unlikely}"
        inspection = Inspection(
            organisation=owner,
            client_uuid=visit.client_uuid,
            sign=sign,
            taken_at=visit.taken_at,
            recorded_at=now,
            device_offset_minutes=visit.device_offset_minutes,
            inspector=visit.inspector,
            how=visit.how,
            surface_state=visit.surface_state,
            instrument=instrument,
            note=note.strip(),
            corrects=corrects,
        )
        prepared = _Prepared(number, visit, inspection, sets, photos, [], [], [])
        if self._is_known(prepared):
            return
        check_visit(inspection, sign, owner, sets, now)
        if unlikely and not visit.is_confirmed:
            msg = f"{unlikely} {ASK_TO_CONFIRM}"
            raise UnlikelyError(msg)
        rating = visit.visual_rating
        has_photo = bool(photos) or visit.are_photos_coming
        refuse_empty(not (sets or visit.observations or rating or inspection.note or has_photo))
        check_number(sets)
        if rating is not None:
            check_evidence(
                rating.procedure,
                rating.evidence,
                seen_on=owner.day_of(visit.taken_at),
                levels=self._levels.get(sign.pk),
            )
        _make_rows(prepared)
        self._prepared[visit.client_uuid] = prepared

    def _sign_and_owner(self, sign_id: int) -> tuple[Sign, Organisation]:
        sign: Sign = _found(self._signs, sign_id, "sign")
        owner = agency_of(sign)
        if self._organisation is not None and owner.pk != self._organisation.pk:
            msg = f"Sign {sign.pk} does not belong to {self._organisation}; check its number."
            raise StateConflictError(msg)
        return sign, owner

    def _is_known(self, prepared: _Prepared) -> bool:
        """Return whether a visit is stored or comes twice; other content is refused."""
        key = prepared.visit.client_uuid
        known = self._known.get(key)
        if known is not None:
            check_same(known, content_stored(known), prepared.content())
            self._outcomes[prepared.number] = known
            return True
        twin = self._prepared.get(key)
        if twin is not None:
            check_same(twin.inspection, twin.content(), prepared.content())
            self._outcomes[prepared.number] = twin.inspection
            return True
        return False

    def _insert(self) -> None:
        """Store the good visits and what follows from them, their verdicts apart."""
        self._insert_inspections()
        stored = list(self._prepared.values())
        if not stored:
            return
        ReadingSet.objects.bulk_create(row for each in stored for row in each.set_rows)
        add_rows(Reading, READING_COLUMNS, (row for each in stored for row in each.readings()))
        Observation.objects.bulk_create(row for each in stored for row in each.observation_rows)
        VisualRating.objects.bulk_create(row for each in stored for row in each.rating_rows)
        note_visits({each.inspection: each.observation_rows for each in stored}, now=self._now)
        for each in stored:
            self._store_photos(each)
            self._outcomes.setdefault(each.number, each.inspection)
            self._inspector_of[each.inspection.sign_id] = each.inspection.inspector
            if each.inspection.corrects is not None:
                wrongly = each.inspection.corrects.sign_id
                self._inspector_of[wrongly] = each.inspection.inspector
        log_many(self._entry(each) for each in stored)
        flag_inspections(
            inspections=[each.inspection for each in stored if each.sets], now=self._now
        )
        stored_by: dict[Organisation, dict[uuid.UUID, User | None]] = defaultdict(dict)
        for each in stored:
            inspection = each.inspection
            stored_by[inspection.organisation][inspection.client_uuid] = inspection.inspector
        for owner, keys in stored_by.items():
            settle_answered(organisation=owner, stored_by=keys, now=self._now)

    def _insert_inspections(self) -> None:
        """Store the inspections; one whose key another request took meanwhile is left out."""
        while self._prepared:
            try:
                with transaction.atomic():
                    Inspection.objects.bulk_create(
                        each.inspection for each in self._prepared.values()
                    )
            except IntegrityError:
                # A request for other signs stored some of the keys in the meantime.
                self._known = stored_under(list(self._prepared))
                if not self._known:
                    raise
                for key in self._known:
                    self._answer_as_known(self._prepared.pop(key))
            else:
                return

    def _answer_as_known(self, prepared: _Prepared) -> None:
        try:
            self._is_known(prepared)
        except StateConflictError as error:
            self._outcomes[prepared.number] = error
        # Those that came twice are answered as the first of them.
        for number, outcome in list(self._outcomes.items()):
            if outcome is prepared.inspection:
                self._outcomes[number] = self._outcomes[prepared.number]

    def _store_photos(self, prepared: _Prepared) -> None:
        visit, inspection = prepared.visit, prepared.inspection
        for photo in prepared.photos:
            store_photo(
                sign=inspection.sign,
                content=photo.content,
                inspection=inspection,
                taken_at=photo.taken_at or visit.taken_at,
                by=visit.inspector,
                caption=photo.caption,
                client_uuid=photo.client_uuid,
                is_drawn=photo.is_drawn,
                now=self._now,
            )

    def _entry(self, prepared: _Prepared) -> Entry:
        visit, inspection = prepared.visit, prepared.inspection
        return entry(
            organisation=inspection.organisation,
            actor=visit.inspector,
            verb="record inspection",
            text=logbook_words(
                inspection, prepared.sets, visit.observations, visit.visual_rating
            ),
            at=self._now,
            sign=inspection.sign,
            detail={"inspection": inspection.pk},
        )


def _make_rows(prepared: _Prepared) -> None:
    """Make the rows of what was read and seen, and refuse those that do not fit."""
    inspection, visit = prepared.inspection, prepared.visit
    for number, each in enumerate(prepared.sets, start=1):
        row = ReadingSet(
            inspection=inspection,
            number=number,
            color=each.color.value,
            observation_angle_deg=each.observation_angle_deg,
            entrance_angle_deg=each.entrance_angle_deg,
            rotation_angle_deg=each.rotation_angle_deg,
        )
        prepared.set_rows.append(row)
        for place in each.places_on_face:
            check_storable(place, "place on the face")
            check_fields(
                Reading(number=number, typed="0", ra_cd_lx_m2=Decimal(0), place_on_face=place),
                exclude=["reading_set"],
            )
    for seen in visit.observations:
        check_storable(seen.note, "note of what was seen")
        observation = Observation(
            inspection=inspection,
            kind=seen.kind,
            severity=seen.severity,
            note=seen.note.strip(),
        )
        check_fields(observation, exclude=["inspection"])
        prepared.observation_rows.append(observation)
    if visit.visual_rating is not None:
        rating = VisualRating(
            inspection=inspection,
            procedure=visit.visual_rating.procedure,
            is_adequate=visit.visual_rating.is_adequate,
            evidence=dict(visit.visual_rating.evidence),
        )
        check_evidence_storable(rating.evidence)
        check_fields(rating, exclude=["inspection", "evidence"])
        prepared.rating_rows.append(rating)


def _levels_of(sign_ids: Sequence[int]) -> dict[int, dict[str, Decimal]]:
    """Return the level of each colour as signs were last judged."""
    newest = latest_assessments(sign_ids)
    sign_of = {each.pk: sign_id for sign_id, each in newest.items()}
    levels: dict[int, dict[str, Decimal]] = defaultdict(dict)
    rows = ElementAssessment.objects.filter(
        assessment__in=list(sign_of), kind=ElementAssessment.Kind.COLOR, level__isnull=False
    )
    for assessment_id, color, level in rows.order_by("assessment", "number").values_list(
        "assessment_id", "color", "level"
    ):
        levels[sign_of[assessment_id]][color] = level
    return levels


def _found(rows: Mapping[int, Any], key: int | None, name: str) -> Any:
    """Return the row that a visit names, ``None`` where it names none."""
    if key is None:
        return None
    if key not in rows:
        msg = f"There is no {name} {key} on record; check the number."
        raise OutOfRangeError(msg)
    return rows[key]
