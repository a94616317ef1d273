"""What our own records say, in the fields of a list, so that the two can be compared."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.models import (
    ColourArea,
    Inspection,
    LogbookEntry,
    Position,
    Sign,
    SourceFace,
)
from inventory.services.importing.rows import SourceField

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date, datetime

    from inventory.models import SourceRecord

BY_AREA = ["by area", ""]  # a face whose colours are not all of one sheeting
SUPPORT_FIELDS = frozenset(
    {
        SourceField.SUPPORT_KEY,
        SourceField.SUPPORT_TYPE,
        SourceField.POST_COUNT,
        SourceField.SIDE,
        SourceField.DISTRICT,
        SourceField.MILEPOINT,
        SourceField.ROAD,
    }
)
FACE_FIELDS = frozenset(
    {
        SourceField.SIGN_CODE,
        SourceField.VARIANT,
        SourceField.LEGEND,
        SourceField.SIZES,
        SourceField.COLORS,
        SourceField.SHEETING,
        SourceField.FABRICATED,
        SourceField.INSTALLED,
        SourceField.REMOVED,
        SourceField.STATUS,
    }
)

# Steps that follow from records, or decide about them, and tell nothing new about a sign. What
# a crew says is wrong changes no record: the list is where it is often put right.
NOT_SEEN_AT_THE_ROADSIDE = (
    "judge sign",
    "decide about sign",
    "settle import",
    "flag wrong data",
    "settle wrong data",
)


@dataclass(frozen=True, slots=True)
class CrewRecord:
    """Something a person recorded about a face, and when it was so and became known."""

    recorded_at: datetime
    taken_at: datetime
    words: str


@dataclass(slots=True)
class OurFaces:
    """The positions a source row became, and the faces in them."""

    positions: list[Position] = field(default_factory=list)
    signs: list[Sign | None] = field(default_factory=list)  # installed, else the latest
    areas: dict[int, list[ColourArea]] = field(default_factory=dict)
    crew_records: list[CrewRecord] = field(default_factory=list)
    inspected_at: dict[int, list[datetime]] = field(default_factory=dict)
    is_sharing_support: bool = False

    def values(self) -> dict[str, Any]:
        """Return what our records say, in the fields of a list."""
        first, sign = self.positions[0], self.signs[0]
        support = first.support
        sizes = [[each.width_in, each.height_in] for each in self.positions]
        values: dict[str, Any] = {
            SourceField.POINT: [support.latitude_deg, support.longitude_deg],
            SourceField.SUPPORT_KEY: support.external_key or None,
            SourceField.SUPPORT_TYPE: support.support_type or None,
            SourceField.POST_COUNT: support.post_count,
            SourceField.SIDE: support.side or None,
            SourceField.DISTRICT: support.district or None,
            SourceField.MILEPOINT: support.milepoint_mi,
            SourceField.ROAD: support.road.name if support.road is not None else None,
            SourceField.SIGN_CODE: first.sign_code,
            SourceField.SOURCE_CODE: first.source_code,
            SourceField.VARIANT: first.variant or None,
            SourceField.LEGEND: first.legend_text or None,
            SourceField.SIZES: None if sizes == [[None, None]] else sizes,
            SourceField.FACING: first.facing_deg,
            SourceField.MOUNT: first.mount or None,
            SourceField.MOUNTING_HEIGHT: first.mounting_height_in,
            SourceField.ORDER: first.order_on_support,
        }
        if sign is not None:
            areas = self.areas.get(sign.pk, [])
            values |= {
                SourceField.COLORS: [[a.part, a.color] for a in areas if a.color],
                SourceField.SHEETING: _sheeting(areas),
                SourceField.FABRICATED: _dated(sign.fabricated_on, sign.fabricated_precision),
                SourceField.INSTALLED: _dated(sign.installed_on, sign.installed_precision),
                SourceField.REMOVED: _dated(sign.removed_on, "day"),
                SourceField.STATUS: sign.state,
                SourceField.REPLACEMENT_YEAR: sign.planned_replacement_year,
                SourceField.OWNER: sign.responsible,
            }
        return values


def _dated(day: date | None, precision: str) -> list[str] | None:
    return None if day is None else [day.isoformat(), precision]


def _sheeting(areas: Sequence[ColourArea]) -> list[str] | None:
    """Return type and optics where all areas agree; what differs by area no list can say."""
    kinds = {(area.sheeting_type, area.optics) for area in areas}
    if len(kinds) != 1:
        return BY_AREA if kinds else None
    sheeting_type, optics = kinds.pop()
    if not sheeting_type and optics == ColourArea.Optics.UNKNOWN:
        return None
    return [sheeting_type, optics]


def our_faces(records: Sequence[SourceRecord], *, is_locking: bool) -> dict[int, OurFaces]:
    """Return what we have for each record; locked against crews until the batch is written."""
    found: dict[int, OurFaces] = {record.pk: OurFaces() for record in records}
    links = SourceFace.objects.filter(record__in=records).order_by("record", "number")
    owner_of = {link.position_id: link.record_id for link in links}
    positions = Position.objects.select_related("support__road").in_bulk(list(owner_of))
    signs = Sign.objects.filter(position__in=list(owner_of)).order_by("pk")
    if is_locking:
        signs = signs.select_for_update()
    by_position: dict[int, list[Sign]] = defaultdict(list)
    for sign in signs:
        by_position[sign.position_id or 0].append(sign)
    record_of_sign: dict[int, int] = {}
    for link in links:
        ours = found[link.record_id]
        ours.positions.append(positions[link.position_id])
        there = by_position[link.position_id]
        installed = [each for each in there if each.state == Sign.State.INSTALLED]
        ours.signs.append(next(iter(installed or reversed(there)), None))
        record_of_sign |= {each.pk: link.record_id for each in there}
    _add_areas(found, record_of_sign)
    _add_crew_records(found, record_of_sign)
    _add_sharing(found, owner_of)
    return found


def _add_areas(found: dict[int, OurFaces], record_of_sign: dict[int, int]) -> None:
    areas = ColourArea.objects.filter(sign__in=list(record_of_sign)).order_by("sign", "number")
    for area in areas:
        found[record_of_sign[area.sign_id]].areas.setdefault(area.sign_id, []).append(area)


def _add_crew_records(found: dict[int, OurFaces], record_of_sign: dict[int, int]) -> None:
    visits = Inspection.objects.filter(sign__in=list(record_of_sign)).only(
        "sign", "taken_at", "recorded_at", "how"
    )
    for visit in visits:
        ours = found[record_of_sign[visit.sign_id]]
        ours.inspected_at.setdefault(visit.sign_id, []).append(visit.taken_at)
        ours.crew_records.append(
            CrewRecord(
                visit.recorded_at,
                visit.taken_at,
                f"an inspection of {visit.taken_at:%Y-%m-%d} ({visit.get_how_display()})",
            )
        )
    entries = LogbookEntry.objects.filter(sign__in=list(record_of_sign)).exclude(
        verb__in=NOT_SEEN_AT_THE_ROADSIDE
    )
    for entry in entries:
        found[record_of_sign[entry.sign_id or 0]].crew_records.append(
            CrewRecord(entry.at, entry.at, f"'{entry.text}' on {entry.at:%Y-%m-%d}")
        )


def _add_sharing(found: dict[int, OurFaces], owner_of: dict[int, int]) -> None:
    """Mark the records whose support carries signs of other rows too."""
    supports = {p.support_id for ours in found.values() for p in ours.positions}
    carried: dict[int, set[int]] = defaultdict(set)
    pairs: Iterable[tuple[int, int]] = Position.objects.filter(
        support__in=list(supports)
    ).values_list("support_id", "pk")
    for support_id, position_id in pairs:
        carried[support_id].add(position_id)
    for ours in found.values():
        own = {position.pk for position in ours.positions}
        ours.is_sharing_support = any(
            carried[position.support_id] - own for position in ours.positions
        )
