"""Installed faces brought together with what was read on them, judged, and the verdicts stored.

The one place where stored records become the inputs of the method; a few queries for any
number of signs.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import timedelta
from decimal import Decimal
from enum import StrEnum
from typing import TYPE_CHECKING, Any, TypeVar
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Subquery

from inventory.engineering.assessment.assess import (
    METHOD_VERSION,
    FaceAssessment,
    assess_faces,
)
from inventory.engineering.assessment.face import (
    Colouring,
    Face,
    FaceArea,
    Part,
    ReadingSet,
    select_readings,
)
from inventory.engineering.assessment.record import facts_of
from inventory.engineering.inspection.readings import parse_reading
from inventory.engineering.inspection.usability import reason_not_judged
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.vocabulary import (
    Color,
    MountClass,
    Optics,
)
from inventory.errors import NoPublishedValueError
from inventory.models import (
    Assessment,
    ColourArea,
    ElementAssessment,
    Inspection,
    Reading,
    Sign,
)
from inventory.models import ReadingSet as RecordedSet
from inventory.services.adding import add_records
from inventory.services.doubts import doubts_of
from inventory.services.own_levels import rules_on
from inventory.services.relinks import counts_for, relinked_to

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.engineering.standards.catalogue import SignType
    from inventory.engineering.standards.local import CodeBook
    from inventory.models import AgencyPolicy

Word = TypeVar("Word", bound=StrEnum)
_SHORTEST = timedelta(microseconds=1)  # what is before midnight is of the day that ends


@dataclass(frozen=True, slots=True)
class Gathered:
    """One sign with everything the method asks of it."""

    sign: Sign
    face: Face
    readings: tuple[ReadingSet, ...]


@dataclass(slots=True)
class Judged:
    """The newest assessment of each sign; those that are new, with their elements by sign."""

    assessments: dict[int, Assessment] = field(default_factory=dict)
    new: list[Assessment] = field(default_factory=list)
    new_elements: dict[int, list[ElementAssessment]] = field(default_factory=dict)
    new_read_at: dict[int, datetime | None] = field(default_factory=dict)
    verdicts: Counter[str] = field(default_factory=Counter)

    def add(self, other: Judged) -> None:
        """Take in what other signs were judged to be."""
        self.assessments |= other.assessments
        self.new += other.new
        self.new_elements |= other.new_elements
        self.new_read_at |= other.new_read_at
        self.verdicts += other.verdicts

    def read_at(self, sign_id: int) -> datetime | None:
        """Return when the judged readings of a sign were taken; ``None`` if none were."""
        if sign_id in self.new_read_at:
            return self.new_read_at[sign_id]
        known = self.assessments.get(sign_id)
        return None if known is None or known.inspection is None else known.inspection.taken_at


def sign_type_of(code: str, book: CodeBook) -> SignType | None:
    """Return what a recorded code stands for; ``None`` when it is not known."""
    if not code.strip():
        return None
    try:
        return book.resolve(code).sign_type
    except NoPublishedValueError:
        return None


def gather(
    signs: Sequence[Sign], book: CodeBook, zone: ZoneInfo, before: datetime | None = None
) -> list[Gathered]:
    """
    Return signs with their faces and readings, in a few queries; positions are loaded.

    With ``before``, only what was read before that moment. Times are those of the agency's own
    clock, since reasons name the day of a reading.
    """
    readings = _readings_of([sign.pk for sign in signs], zone, before)
    return [
        Gathered(sign, face, select_readings(readings[sign.pk]))
        for sign, face in zip(signs, faces_of(signs, book), strict=True)
    ]


def faces_of(signs: Sequence[Sign], book: CodeBook) -> list[Face]:
    """Return signs as the method takes faces, in one query; positions are loaded."""
    areas = _areas_of([sign.pk for sign in signs])
    return [
        Face(
            sign_type=sign_type_of(sign.sign_code, book),
            areas=tuple(areas[sign.pk]),
            mount=_word(MountClass, sign.position.mount) if sign.position else None,
            width_in=_inches(sign.width_in),
            height_in=_inches(sign.height_in),
        )
        for sign in signs
    ]


def judge_and_store(
    signs: Sequence[Sign], *, policy: AgencyPolicy, book: CodeBook, now: datetime
) -> Judged:
    """
    Judge signs and store each verdict whose inputs changed; within the caller's transaction.

    A sign whose newest assessment rests on the same facts, rules and method keeps it, so that
    a job that was broken off can simply be run again.
    """
    rules = rules_on(policy, policy.organisation.day_of(now))
    newest = _newest_of([sign.pk for sign in signs])
    known_facts = _facts_by(newest, policy)
    zone = ZoneInfo(policy.organisation.time_zone)
    changed: list[tuple[Gathered, dict[str, Any]]] = []
    unchanged: list[int] = []
    for gathered in gather(signs, book, zone):
        facts = facts_of(gathered.face, gathered.readings, rules)
        if known_facts.get(gathered.sign.pk) == facts:
            unchanged.append(newest[gathered.sign.pk])
        else:
            changed.append((gathered, facts))
    results = assess_faces(((each.face, each.readings) for each, _ in changed), rules)
    judged = Judged(_assessments_by(unchanged))
    for (gathered, facts), result in zip(changed, results, strict=True):
        visit = _newest_judged(gathered, result)
        judged.new.append(_assessment(gathered.sign, visit, result, facts, policy, now))
        judged.new_read_at[gathered.sign.pk] = None if visit is None else visit.taken_at
    Assessment.objects.bulk_create(judged.new)
    judged.new_elements = {
        assessment.sign_id: _elements(assessment, result)
        for assessment, result in zip(judged.new, results, strict=True)
    }
    add_records([each for elements in judged.new_elements.values() for each in elements])
    judged.assessments.update({assessment.sign_id: assessment for assessment in judged.new})
    judged.verdicts.update(each.verdict for each in judged.assessments.values())
    return judged


def judge_unstored(
    signs: Sequence[Sign], *, policy: AgencyPolicy, book: CodeBook, before: datetime
) -> dict[int, FaceAssessment]:
    """
    Return what everything read before a moment says of signs by given rules; nothing is stored.

    Readings that were put right since count as they were put right.
    """
    organisation = policy.organisation
    gathered = gather(signs, book, ZoneInfo(organisation.time_zone), before)
    results = assess_faces(
        ((each.face, each.readings) for each in gathered),
        rules_on(policy, organisation.day_of(before - _SHORTEST)),
    )
    return {each.sign.pk: result for each, result in zip(gathered, results, strict=True)}


def latest_assessments(sign_ids: Sequence[int]) -> dict[int, Assessment]:
    """Return the newest assessment of each sign that has one, in two queries."""
    return _assessments_by(list(_newest_of(sign_ids).values()))


def _newest_of(sign_ids: Sequence[int]) -> dict[int, int]:
    """Return which assessment of each sign is the newest, of those that have one."""
    newest = (
        Assessment.objects.filter(sign=OuterRef("pk"))
        .order_by("-assessed_at", "-pk")
        .values("pk")[:1]
    )
    chosen = Sign.objects.filter(pk__in=sign_ids).order_by("pk")
    found = chosen.values_list("pk", Subquery(newest))
    return {sign_id: pk for sign_id, pk in found if pk is not None}


def _assessments_by(keys: Sequence[int]) -> dict[int, Assessment]:
    """Return assessments with the inspections they rest on, by sign."""
    if not keys:
        return {}
    rows = Assessment.objects.filter(pk__in=keys).select_related("inspection").order_by("pk")
    return {row.sign_id: row for row in rows}


def _facts_by(newest: dict[int, int], policy: AgencyPolicy) -> dict[int, dict[str, Any]]:
    """Return the facts of the assessments made by these rules and this method, by sign."""
    rows = Assessment.objects.filter(
        pk__in=list(newest.values()), policy=policy, method_version=METHOD_VERSION
    )
    return dict(rows.order_by("pk").values_list("sign_id", "facts"))


def _newest_judged(gathered: Gathered, result: FaceAssessment) -> ReadingSet | None:
    """Return the newest of what was judged; it stands for the assessment."""
    judged = [each for each in gathered.readings if each.visit in result.visits]
    return max(judged, key=lambda each: (each.taken_at, each.visit), default=None)


def _assessment(
    sign: Sign,
    newest: ReadingSet | None,
    result: FaceAssessment,
    facts: dict[str, Any],
    policy: AgencyPolicy,
    now: datetime,
) -> Assessment:
    # The newest of the judged visits stands for the assessment; the facts name them all.
    return Assessment(
        organisation=policy.organisation,
        sign=sign,
        inspection_id=None if newest is None else newest.visit,
        policy=policy,
        assessed_at=now,
        method_version=METHOD_VERSION,
        edition=policy.edition,
        verdict=result.verdict.value,
        probability_low=result.probability_low,
        probability_high=result.probability_high,
        reason=result.reason,
        facts=facts,
    )


def _elements(assessment: Assessment, result: FaceAssessment) -> list[ElementAssessment]:
    return [
        ElementAssessment(
            assessment_id=assessment.pk,
            number=number,
            kind=element.kind.value,
            color=element.color,
            verdict=element.verdict.value,
            value=element.value_to_store,
            level=element.level,
            reading_count=element.reading_count,
            probability=element.probability,
            expanded_uncertainty=element.expanded_uncertainty,
            interval_low=element.interval_low,
            interval_high=element.interval_high,
            further_readings=element.further_readings,
            flags=list(element.flags),
            table_id=element.table_id,
            row_id=element.row_id,
            checked="" if element.checked is None else element.checked.value,
            reason=element.full_reason,
        )
        for number, element in enumerate(result.elements, start=1)
    ]


def _areas_of(sign_ids: Sequence[int]) -> dict[int, list[FaceArea]]:
    areas: dict[int, list[FaceArea]] = defaultdict(list)
    rows = ColourArea.objects.filter(sign__in=sign_ids).order_by("sign", "number")
    for sign_id, part, color, sheeting_type, optics, colouring in rows.values_list(
        "sign_id", "part", "color", "sheeting_type", "optics", "colouring"
    ):
        areas[sign_id].append(
            FaceArea(
                part=Part(part),
                color=_word(Color, color),
                sheeting_type=sheeting_type,
                optics=_word(Optics, optics) or Optics.UNKNOWN,
                colouring=_word(Colouring, colouring) or Colouring.UNKNOWN,
            )
        )
    return areas


def _readings_of(
    sign_ids: Sequence[int], zone: ZoneInfo, before: datetime | None = None
) -> dict[int, list[ReadingSet]]:
    """
    Return what may decide about each sign; what another inspection corrects never does.

    Per colour that is the newest visit that can be judged, and newer ones that cannot: the
    values of earlier visits are not looked up. What was read on a duplicate counts for the
    sign that is kept, while their merge stands.
    """
    # Three plain look-ups by key: joined into one, a database without statistics on rows just
    # loaded may plan it so badly that it takes minutes.
    relinked = relinked_to(sign_ids)
    inspections = Inspection.objects.filter(
        counts_for(sign_ids, relinked),
        ~Exists(Inspection.objects.filter(corrects=OuterRef("pk"))),
    )
    if before is not None:
        inspections = inspections.filter(taken_at__lt=before)
    visits = {
        pk: _VisitHead(
            pk,
            taken_at.astimezone(zone),
            How(how),
            SurfaceState(state),
            instrument,
            relinked.get(pk, sign_id),
        )
        for pk, taken_at, how, state, instrument, sign_id in inspections.order_by(
            "pk"
        ).values_list("pk", "taken_at", "how", "surface_state", "instrument_id", "sign_id")
    }
    doubts = doubts_of(sign_ids, zone, relinked)
    heads = [
        _SetHead(
            set_id,
            Color(color),
            observation,
            entrance,
            visits[visit],
            doubts.get(visit, ""),
        )
        for set_id, color, observation, entrance, visit in RecordedSet.objects.filter(
            inspection__in=list(visits)
        )
        .order_by("pk")
        .values_list(
            "pk", "color", "observation_angle_deg", "entrance_angle_deg", "inspection_id"
        )
    ]
    chosen = _that_may_decide(heads)
    values = _values_of(chosen)
    if any(each.number not in values for each in chosen):
        # A set without a value decides nothing: what is older may.
        chosen, values = heads, _values_of(heads)
    sets: dict[int, list[ReadingSet]] = defaultdict(list)
    for each in chosen:
        if each.number in values:
            sets[each.visit.sign].append(each.with_values(tuple(values[each.number])))
    return sets


@dataclass(frozen=True, slots=True)
class _VisitHead:
    """A visit without what was read on it; ``sign`` is the one it counts for."""

    number: int
    taken_at: datetime
    how: How
    surface_state: SurfaceState
    instrument: int | None
    sign: int


@dataclass(frozen=True, slots=True)
class _SetHead:
    """A reading set without its values."""

    number: int
    color: Color
    observation_angle_deg: Decimal
    entrance_angle_deg: Decimal
    visit: _VisitHead
    doubt: str

    @property
    def can_be_judged(self) -> bool:
        """Return whether the set can be judged if it has a value."""
        return not reason_not_judged(
            how=self.visit.how,
            surface_state=self.visit.surface_state,
            observation_angle_deg=self.observation_angle_deg,
            entrance_angle_deg=self.entrance_angle_deg,
            doubt=self.doubt,
        )

    def with_values(self, values: tuple[Decimal, ...]) -> ReadingSet:
        """Return the set as the method takes it."""
        visit = self.visit
        return ReadingSet(
            color=self.color,
            values=values,
            taken_at=visit.taken_at,
            visit=visit.number,
            how=visit.how,
            surface_state=visit.surface_state,
            observation_angle_deg=self.observation_angle_deg,
            entrance_angle_deg=self.entrance_angle_deg,
            doubt=self.doubt,
            instrument=visit.instrument,
        )


def _that_may_decide(heads: Sequence[_SetHead]) -> list[_SetHead]:
    """Leave out what is older than the newest visit of its colour that can be judged."""
    newest: dict[tuple[int, Color], tuple[datetime, int]] = {}
    for each in heads:
        if each.can_be_judged:
            key, place = (each.visit.sign, each.color), (each.visit.taken_at, each.visit.number)
            newest[key] = max(newest.get(key, place), place)
    return [
        each
        for each in heads
        if (at := newest.get((each.visit.sign, each.color))) is None
        or (each.visit.taken_at, each.visit.number) >= at
    ]


def _values_of(heads: Sequence[_SetHead]) -> dict[int, list[Decimal]]:
    """Return the values of reading sets as they were typed, in their order."""
    values: dict[int, list[Decimal]] = {}
    rows = Reading.objects.filter(reading_set__in=[each.number for each in heads])
    for set_id, typed in rows.order_by("reading_set_id", "number").values_list(
        "reading_set_id", "typed"
    ):
        values.setdefault(set_id, []).append(parse_reading(typed))
    return values


def _word(words: type[Word], text: str) -> Word | None:
    """Return a stored word as the method knows it; one it does not know is not known."""
    try:
        return words(text)
    except ValueError:
        return None


def _inches(length_in: float | None) -> Decimal | None:
    """Return a stored size as the decimal it was typed as: 30 for 30.0, 12.5 for 12.5."""
    return None if length_in is None else Decimal(repr(length_in).removesuffix(".0"))
