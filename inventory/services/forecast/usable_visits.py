"""Which visits of signs may be forecast from, and the levels that signs have to keep."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, NamedTuple

from django.db.models import (
    BooleanField,
    Count,
    ExpressionWrapper,
    FloatField,
    OuterRef,
    Q,
    Subquery,
    Sum,
)
from django.db.models.functions import Cast

from inventory.engineering.inspection.usability import (
    JUDGED_ENTRANCE_ANGLE_DEG,
    JUDGED_OBSERVATION_ANGLE_DEG,
    geometry_words,
    reason_not_judged,
)
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.models import (
    Assessment,
    ElementAssessment,
    FlagSettlement,
    Inspection,
    InspectionFlag,
    Reading,
    ReadingSet,
    RelinkedInspection,
    Sign,
    SignMerge,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from datetime import datetime
    from zoneinfo import ZoneInfo

    from inventory.models import Organisation

KEYS_PER_QUERY = 10_000  # within what either database takes in one look-up
IN_DOUBT = "its instrument is in doubt and the flag is not settled"
SET_ASIDE = "set aside by a person"
READ_AS_ZERO = "a reading of 0 is damage or a slip, not decline with age"
OTHER_GEOMETRY = "read at another geometry than " + geometry_words(
    JUDGED_OBSERVATION_ANGLE_DEG, JUDGED_ENTRANCE_ANGLE_DEG
)
NO_VALUE = "no value was typed"


class UsableVisit(NamedTuple):
    """
    One colour of one visit: the sum of its readings over 0, and how many they are.

    With a ``reason`` it is left out. Days are numbers, in the agency's time zone.
    """

    visited_on: int
    inspection: int
    recorded_on: int
    how: How
    instrument: int | None
    total: float
    reading_count: int
    reason: str


@dataclass(frozen=True, slots=True)
class FleetDoubts:
    """
    What is held against visits of an agency, few against the visits themselves.

    ``corrected`` are those a later one puts right; ``doubt`` says why others do not count;
    ``kept_for`` gives the sign kept for each that is merged away, and ``relinked`` the visits
    that count for the signs kept.
    """

    corrected: frozenset[int]
    doubt: dict[int, str]
    kept_for: dict[int, int]
    relinked: dict[int, list[int]]

    @classmethod
    def of(cls, organisation: Organisation, before: datetime | None = None) -> FleetDoubts:
        """Return what was held against visits by a moment, in four queries."""
        corrections = Inspection.objects.owned_by(organisation).filter(corrects__isnull=False)
        flags = InspectionFlag.objects.owned_by(organisation).order_by("raised_at", "pk")
        merges = SignMerge.objects.owned_by(organisation)
        relinks = RelinkedInspection.objects.owned_by(organisation)
        settled, standing = Q(settlement__isnull=False), Q(undo__isnull=True)
        still_relinked = Q(merge__undo__isnull=True)
        if before is not None:
            corrections = corrections.filter(recorded_at__lt=before)
            flags = flags.filter(raised_at__lt=before)
            merges = merges.filter(merged_at__lt=before)
            relinks = relinks.filter(merge__merged_at__lt=before)
            settled = Q(settlement__settled_at__lt=before)
            standing |= Q(undo__undone_at__gte=before)
            still_relinked |= Q(merge__undo__undone_at__gte=before)
        is_settled = ExpressionWrapper(settled, BooleanField())
        found: dict[int, str] = {}
        for inspection, settled_by_then, outcome in flags.annotate(
            by_then=is_settled
        ).values_list("inspection_id", "by_then", "settlement__outcome"):
            if not settled_by_then:
                found.setdefault(inspection, IN_DOUBT)
            elif outcome == FlagSettlement.Outcome.SET_ASIDE:
                found[inspection] = SET_ASIDE
        kept_for = dict(
            merges.filter(standing).order_by("pk").values_list("duplicate_id", "kept_id")
        )
        relinked: dict[int, list[int]] = {}
        for sign, inspection in (
            relinks.filter(still_relinked)
            .order_by("sign_id", "inspection_id")
            .values_list("sign_id", "inspection_id")
        ):
            relinked.setdefault(sign, []).append(inspection)
        return cls(
            frozenset(corrections.order_by().values_list("corrects_id", flat=True)),
            found,
            kept_for,
            relinked,
        )


class _Head(NamedTuple):
    visited_on: int
    inspection: int
    recorded_on: int
    how: How
    surface_state: SurfaceState
    instrument: int | None
    sign: int


def visits_of(
    organisation: Organisation,
    sign_ids: Sequence[int],
    doubts: FleetDoubts,
    *,
    zone: ZoneInfo,
    before: datetime | None = None,
) -> dict[int, dict[str, list[UsableVisit]]]:
    """
    Return what was read on signs by instrument, by sign and colour, the earliest first.

    Readings of 0 are left out of their visit; one that has no other is left out with them.
    """
    heads = _heads(organisation, sign_ids, doubts, zone, before)
    usable: dict[int, tuple[int, str]] = {}  # reading set → inspection, colour
    refused: dict[tuple[int, str], str] = {}
    is_judged = ExpressionWrapper(
        Q(
            observation_angle_deg=JUDGED_OBSERVATION_ANGLE_DEG,
            entrance_angle_deg=JUDGED_ENTRANCE_ANGLE_DEG,
        ),
        BooleanField(),
    )
    for keys in _parts(list(heads)):
        rows = ReadingSet.objects.filter(inspection__in=keys).order_by("pk")
        for pk, inspection, color, at_geometry in rows.annotate(judged=is_judged).values_list(
            "pk", "inspection_id", "color", "judged"
        ):
            reason = _reason(heads[inspection], at_geometry, doubts.doubt.get(inspection, ""))
            if reason:
                refused.setdefault((inspection, color), reason)
            else:
                usable[pk] = (inspection, color)
    totals = _totals(usable)
    found: dict[int, dict[str, list[UsableVisit]]] = {}
    for (inspection, color), (total, count, reason) in (
        {key: (0.0, 0, reason) for key, reason in refused.items()} | totals
    ).items():
        head = heads[inspection]
        found.setdefault(head.sign, {}).setdefault(color, []).append(
            UsableVisit(*head[:4], head.instrument, total, count, reason)
        )
    for of_sign in found.values():
        for visits in of_sign.values():
            visits.sort(key=lambda each: each[:2])
    return found


def levels_of(
    sign_ids: Sequence[int], before: datetime | None = None
) -> dict[tuple[int, str], float]:
    """Return the level of each colour of signs by their newest assessment, in two queries."""
    assessments = Assessment.objects.filter(sign=OuterRef("pk"))
    if before is not None:
        assessments = assessments.filter(assessed_at__lt=before)
    newest = assessments.order_by("-assessed_at", "-pk").values("pk")[:1]
    chosen = Sign.objects.filter(pk__in=sign_ids).order_by("pk")
    sign_of = {
        assessment: sign
        for sign, assessment in chosen.values_list("pk", Subquery(newest))
        if assessment is not None
    }
    levels: dict[tuple[int, str], float] = {}
    rows = ElementAssessment.objects.filter(
        assessment__in=list(sign_of), kind=ElementAssessment.Kind.COLOR, level__isnull=False
    ).order_by("assessment", "number")
    for assessment, color, level in rows.values_list("assessment_id", "color", "level"):
        levels.setdefault((sign_of[assessment], color), float(level))
    return {key: level for key, level in levels.items() if level > 0}


def _heads(
    organisation: Organisation,
    sign_ids: Sequence[int],
    doubts: FleetDoubts,
    zone: ZoneInfo,
    before: datetime | None,
) -> dict[int, _Head]:
    """Return the visits with an instrument that count for signs and are not put right."""
    counts_for = {
        inspection: sign for sign in sign_ids for inspection in doubts.relinked.get(sign, ())
    }
    heads: dict[int, _Head] = {}
    for condition in (
        *(Q(sign__in=keys) for keys in _parts(sign_ids)),
        *(Q(pk__in=keys) for keys in _parts(list(counts_for))),
    ):
        rows = Inspection.objects.owned_by(organisation).filter(
            condition, how__in=(How.HAND_HELD.value, How.MOBILE.value)
        )
        if before is not None:
            rows = rows.filter(recorded_at__lt=before)
        for pk, sign, taken_at, recorded_at, how, state, instrument in rows.order_by(
            "pk"
        ).values_list(
            "pk", "sign_id", "taken_at", "recorded_at", "how", "surface_state", "instrument_id"
        ):
            if pk not in doubts.corrected:
                heads[pk] = _Head(
                    taken_at.astimezone(zone).toordinal(),
                    pk,
                    recorded_at.astimezone(zone).toordinal(),
                    How(how),
                    SurfaceState(state),
                    instrument,
                    counts_for.get(pk, sign),
                )
    return heads


def _reason(head: _Head, at_geometry: bool, doubt: str) -> str:
    if not at_geometry:
        return OTHER_GEOMETRY
    return reason_not_judged(
        how=head.how,
        surface_state=head.surface_state,
        observation_angle_deg=JUDGED_OBSERVATION_ANGLE_DEG,
        entrance_angle_deg=JUDGED_ENTRANCE_ANGLE_DEG,
        doubt=doubt,
    )


def _totals(
    usable: dict[int, tuple[int, str]],
) -> dict[tuple[int, str], tuple[float, int, str]]:
    """Return the sum and number of the readings over 0 of each colour of each visit."""
    totals: dict[tuple[int, str], tuple[float, int, str]] = dict.fromkeys(
        usable.values(), (0.0, 0, NO_VALUE)
    )
    for keys in _parts(list(usable)):
        # Each sum is a look-up by key of one set: joined with the visits, a database without
        # statistics on rows just loaded may plan it badly.
        rows = Reading.objects.filter(reading_set__in=keys).order_by().values("reading_set_id")
        for reading_set, total, count in rows.annotate(
            total=Sum(Cast("ra_cd_lx_m2", FloatField()), default=0.0),
            over_0=Count("pk", filter=Q(ra_cd_lx_m2__gt=Decimal(0))),
        ).values_list("reading_set_id", "total", "over_0"):
            key = usable[reading_set]
            before, number, _reason = totals[key]
            totals[key] = (
                before + total,
                number + count,
                "" if number + count else READ_AS_ZERO,
            )
    return totals


def _parts(keys: Sequence[int]) -> Iterator[Sequence[int]]:
    for start in range(0, len(keys), KEYS_PER_QUERY):
        yield keys[start : start + KEYS_PER_QUERY]
