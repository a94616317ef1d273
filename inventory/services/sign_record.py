"""Everything on record about one face, gathered for its page."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.db.models import Q

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.engineering.inspection.usability import reason_not_judged
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.models import (
    Assessment,
    DamageStanding,
    DeviceOperation,
    Disposition,
    ElementAssessment,
    Inspection,
    LogbookEntry,
    OrderLine,
    Photo,
    PrintOrder,
    ReadingSet,
    Sign,
    SignMerge,
    SourceRecord,
    Standing,
    WrongDataFlag,
)
from inventory.services.doubts import doubts_of
from inventory.services.relinks import counts_for, relinked_to

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from inventory.models import Organisation

MOST_ROWS = 50
NOT_THE_NEWEST = "not the newest usable visit"
NOT_YET = "the face has no verdict yet"
LEFT_OUT = "the sign is left out by the agency's choice"
OPEN_ORDER_STATES = (
    PrintOrder.State.DRAFT,
    PrintOrder.State.RELEASED,
    PrintOrder.State.PRINTED,
)


@dataclass(frozen=True)
class ColourReading:
    """
    The readings of one colour on one visit, and their mean.

    ``not_judged`` says why the verdict does not rest on them; empty where it does.
    """

    taken_at: datetime
    color: str
    values: tuple[Decimal, ...]
    observation_angle_deg: Decimal
    entrance_angle_deg: Decimal
    inspection_id: int
    is_corrected: bool
    not_judged: str = ""

    @property
    def mean(self) -> Decimal:
        """Return the plain mean of the values."""
        return sum(self.values, start=Decimal(0)) / len(self.values)


@dataclass(frozen=True)
class SignRecord:
    """One face: how it stands, what was seen, what was decided, what comes next."""

    sign: Sign
    standing: Standing | None
    assessment: Assessment | None
    elements: list[ElementAssessment]
    governing: ElementAssessment | None
    inspections: list[Inspection]
    readings: list[ColourReading]
    assessments: list[Assessment]
    dispositions: list[Disposition]
    photos: list[Photo]
    entries: list[LogbookEntry]
    earlier_faces: list[Sign]
    neighbours: list[Sign]
    open_lines: list[OrderLine]
    source_rows: list[SourceRecord]
    identified: dict[int, DeviceOperation]
    flags: list[WrongDataFlag]
    merged_into: SignMerge | None
    merged_here: list[SignMerge]
    damage: list[DamageStanding]


def sign_record(*, sign: Sign, organisation: Organisation) -> SignRecord:
    """Return what an organisation has on record about one of its faces."""
    assessments = list(
        Assessment.objects.owned_by(organisation)
        .filter(sign=sign)
        .select_related("policy", "inspection")
        .order_by("-assessed_at", "-pk")[:MOST_ROWS]
    )
    newest = assessments[0] if assessments else None
    elements = list(newest.elements.order_by("number")) if newest else []
    merges = list(
        SignMerge.objects.owned_by(organisation)
        .filter(Q(kept=sign) | Q(duplicate=sign), undo__isnull=True)
        .select_related("kept", "duplicate")
        .order_by("-merged_at", "-pk")
    )
    merged_here = [each for each in merges if each.kept_id == sign.pk]
    relinked = relinked_to([sign.pk]) if merged_here else {}
    inspections = list(
        Inspection.objects.owned_by(organisation)
        .filter(counts_for([sign.pk], relinked))
        .select_related("inspector", "instrument")
        .prefetch_related("reading_sets__readings", "observations", "visual_ratings")
        .order_by("-taken_at", "-pk")[:MOST_ROWS]
    )
    return SignRecord(
        sign=sign,
        standing=Standing.objects.owned_by(organisation).filter(sign=sign).first(),
        assessment=newest,
        elements=elements,
        governing=governing_element(elements, newest.verdict) if newest else None,
        inspections=inspections,
        readings=colour_readings(
            inspections,
            newest,
            doubts_of([sign.pk], ZoneInfo(organisation.time_zone), relinked),
        ),
        assessments=assessments,
        dispositions=list(
            Disposition.objects.owned_by(organisation)
            .filter(sign=sign)
            .select_related("decided_by")
            .order_by("-decided_at", "-pk")[:MOST_ROWS]
        ),
        photos=list(
            Photo.objects.owned_by(organisation)
            .filter(sign__in=[sign.pk, *(each.duplicate_id for each in merges)])
            .order_by("-recorded_at", "-pk")[:MOST_ROWS]
        ),
        entries=list(
            LogbookEntry.objects.owned_by(organisation)
            .filter(sign=sign)
            .select_related("actor")
            .order_by("-at", "-pk")[:MOST_ROWS]
        ),
        earlier_faces=_other_faces(sign, organisation),
        neighbours=_neighbours(sign, organisation),
        open_lines=list(
            OrderLine.objects.owned_by(organisation)
            .filter(
                position=sign.position_id,
                order__state__in=OPEN_ORDER_STATES,
                quantity__gt=0,
            )
            .select_related("order")
            .order_by("pk")
        )
        if sign.position_id
        else [],
        source_rows=list(
            SourceRecord.objects.owned_by(organisation)
            .filter(positions=sign.position_id)
            .order_by("source_name", "pk")
        )
        if sign.position_id
        else [],
        identified=_identified(inspections, organisation),
        flags=list(
            WrongDataFlag.objects.owned_by(organisation)
            .filter(sign=sign, settlement__isnull=True)
            .select_related("raised_by")
            .order_by("-recorded_at", "-pk")[:MOST_ROWS]
        ),
        merged_into=next((each for each in merges if each.duplicate_id == sign.pk), None),
        merged_here=merged_here,
        damage=list(
            DamageStanding.objects.owned_by(organisation)
            .filter(sign=sign)
            .order_by("-is_open", "sort_on", "report")[:MOST_ROWS]
        ),
    )


def _identified(
    inspections: Sequence[Inspection], organisation: Organisation
) -> dict[int, DeviceOperation]:
    """Return how the sign was found on those visits that came from a phone."""
    visit_of = {inspection.client_uuid: inspection.pk for inspection in inspections}
    rows = DeviceOperation.objects.owned_by(organisation).filter(client_uuid__in=visit_of)
    return {visit_of[each.client_uuid]: each for each in rows.exclude(identified_by="")}


def governing_element(
    elements: Sequence[ElementAssessment], verdict: str
) -> ElementAssessment | None:
    """Return the colour or contrast that gave the sign its verdict: the one least above."""
    deciding = [e for e in elements if e.verdict == verdict]
    shares = [
        (element.value / element.level, element)
        for element in deciding
        if element.value is not None and element.level
    ]
    if shares:
        return min(shares, key=lambda share: share[0])[1]
    return deciding[0] if deciding else None


def colour_readings(
    inspections: Sequence[Inspection],
    assessment: Assessment | None,
    doubts: Mapping[int, str],
) -> list[ColourReading]:
    """Return the readings of each colour and visit, oldest first, judged or not."""
    corrected = {i.corrects_id for i in inspections if i.corrects_id is not None}
    rows = []
    for inspection in inspections:
        for reading_set in inspection.reading_sets.all():
            values = tuple(reading.ra_cd_lx_m2 for reading in reading_set.readings.all())
            if values:
                unusable = reason_not_judged(
                    how=How(inspection.how),
                    surface_state=SurfaceState(inspection.surface_state),
                    observation_angle_deg=reading_set.observation_angle_deg,
                    entrance_angle_deg=reading_set.entrance_angle_deg,
                    doubt=doubts.get(inspection.pk, ""),
                )
                rows.append(
                    ColourReading(
                        taken_at=inspection.taken_at,
                        color=reading_set.color,
                        values=values,
                        observation_angle_deg=reading_set.observation_angle_deg,
                        entrance_angle_deg=reading_set.entrance_angle_deg,
                        inspection_id=inspection.pk,
                        is_corrected=inspection.pk in corrected,
                        not_judged=unusable or _left_aside(reading_set, assessment),
                    )
                )
    return sorted(rows, key=lambda row: (row.taken_at, row.inspection_id, row.color))


def _left_aside(reading_set: ReadingSet, assessment: Assessment | None) -> str:
    """Return why a verdict does not rest on usable readings; empty where it does."""
    if assessment is None:
        return NOT_YET
    if assessment.verdict == Verdict.EXCLUDED.value:
        return LEFT_OUT
    given = {(each["visit"], each["color"]) for each in assessment.facts["readings"]}
    is_given = (reading_set.inspection_id, reading_set.color) in given
    return "" if is_given else NOT_THE_NEWEST


def _other_faces(sign: Sign, organisation: Organisation) -> list[Sign]:
    """Return the other faces that stood in the sign's position, newest first."""
    if sign.position_id is None:
        return []
    return list(
        Sign.objects.owned_by(organisation)
        .filter(position=sign.position_id)
        .exclude(pk=sign.pk)
        .prefetch_related("colour_areas")
        .order_by("-installed_on", "-pk")[:MOST_ROWS]
    )


def _neighbours(sign: Sign, organisation: Organisation) -> list[Sign]:
    """Return the installed faces that share the sign's support."""
    if sign.position is None:
        return []
    return list(
        Sign.objects.owned_by(organisation)
        .filter(position__support=sign.position.support_id, state=Sign.State.INSTALLED)
        .exclude(pk=sign.pk)
        .prefetch_related("colour_areas")
        .order_by("position__order_on_support", "pk")[:MOST_ROWS]
    )
