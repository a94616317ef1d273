"""Making and changing positions, faces and colours from what a row gives."""

from __future__ import annotations

import uuid
from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from inventory.models import (
    ColourArea,
    DamageReport,
    Inspection,
    Observation,
    Panel,
    Position,
    Sign,
    SourceFace,
    SourceRecord,
)
from inventory.services.damage_visits import note_visits
from inventory.services.importing.resolving import are_back_to_back, faces_of, facing_of
from inventory.services.importing.rows import SourceField

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from django.db import models

    from inventory.models import Organisation, Support
    from inventory.services.importing.ours import OurFaces

# A list's judgement keeps its identity however often the row is read.
NAMESPACE = uuid.UUID("6f0d3d2e-6a43-5b0e-9d0c-0f6c3f1f7b61")
NOON = time(12)
LONGEST_NOTE = 255

_POSITION_TEXTS = {
    SourceField.SIGN_CODE: "sign_code",
    SourceField.SOURCE_CODE: "source_code",
    SourceField.VARIANT: "variant",
    SourceField.LEGEND: "legend_text",
    SourceField.MOUNT: "mount",
}
_POSITION_NUMBERS = {
    SourceField.MOUNTING_HEIGHT: "mounting_height_in",
    SourceField.ORDER: "order_on_support",
}
_SIGN_TEXTS = {
    SourceField.SIGN_CODE: "sign_code",
    SourceField.VARIANT: "variant",
    SourceField.LEGEND: "legend_text",
    SourceField.OWNER: "responsible",
}
_DATES = {
    SourceField.FABRICATED: ("fabricated_on", "fabricated_precision"),
    SourceField.INSTALLED: ("installed_on", "installed_precision"),
}


@dataclass(slots=True)
class Made:
    """What a batch makes, saved together: one statement for each kind of record."""

    panels: list[Panel] = field(default_factory=list)
    positions: list[Position] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    areas: list[ColourArea] = field(default_factory=list)
    records: list[SourceRecord] = field(default_factory=list)
    links: list[SourceFace] = field(default_factory=list)
    visits: list[Inspection] = field(default_factory=list)
    observations: list[Observation] = field(default_factory=list)

    def save(self) -> None:
        """Write everything, each kind after those it points to."""
        Panel.objects.bulk_create(self.panels)
        Position.objects.bulk_create(self.positions)
        Sign.objects.bulk_create(self.signs)
        ColourArea.objects.bulk_create(self.areas)
        SourceRecord.objects.bulk_create(self.records)
        SourceFace.objects.bulk_create(self.links)
        Inspection.objects.bulk_create(self.visits)
        Observation.objects.bulk_create(self.observations)
        if self.observations:
            # When the agency came to know of it, a list does not say.
            note_visits(
                {each.inspection: [each] for each in self.observations},
                now=self.observations[0].inspection.recorded_at,
                channel=DamageReport.Channel.RECORD,
            )


@dataclass(frozen=True, slots=True)
class FaceMaker:
    """Makes and changes the faces of rows of one organisation, at one moment."""

    organisation: Organisation
    at: datetime
    made: Made

    def make(
        self, record: SourceRecord, given: Mapping[str, Any], support: Support, start: int = 0
    ) -> None:
        """Make the faces a row describes, from a number on; they are counted from 0."""
        panel = self.panel(given) if start == 0 else None
        for number in range(start, faces_of(given)):
            position = Position(organisation=self.organisation, support=support)
            _set(position, position_values(given, given, number))
            self.made.positions.append(position)
            self.made.links.append(
                SourceFace(record=record, position=position, number=number + 1)
            )
            sign = self.make_sign(record, given, position, panel)
            self.note_condition(record, given.get(SourceField.CONDITION), [sign], number)

    def panel(self, given: Mapping[str, Any]) -> Panel | None:
        """Return the blank that two faces share; a single face's blank is not known."""
        if not are_back_to_back(given):
            return None
        width_in, height_in = given[SourceField.SIZES][0]
        panel = Panel(organisation=self.organisation, width_in=width_in, height_in=height_in)
        self.made.panels.append(panel)
        return panel

    def make_sign(
        self,
        record: SourceRecord,
        given: Mapping[str, Any],
        position: Position,
        panel: Panel | None,
    ) -> Sign:
        """Make the face in a position, and its colours."""
        sign = Sign(
            owner=self.organisation,
            position=position,
            panel=panel,
            state=Sign.State.INSTALLED,
            is_reconstructed=True,
        )
        _set(sign, sign_values(given, given))
        sign.width_in, sign.height_in = position.width_in, position.height_in
        self.made.signs.append(sign)
        self.made.areas += new_areas(sign, given, ())
        return sign

    def note_condition(
        self,
        record: SourceRecord,
        condition: Sequence[Any] | None,
        signs: Iterable[Sign],
        first: int = 0,
    ) -> None:
        """Keep a judgement of the list as the inspection it was, if it has a day."""
        if not condition:
            return
        day, kind, severity, word = condition
        zone = ZoneInfo(self.organisation.time_zone)
        for number, sign in enumerate(signs, start=first):
            key = f"{self.organisation.pk}/{record.source_name}/{record.external_id}/{number}"
            visit = Inspection(
                organisation=self.organisation,
                client_uuid=uuid.uuid5(NAMESPACE, f"{key}/{condition}"),
                sign=sign,
                taken_at=datetime.combine(date.fromisoformat(day), NOON, zone),
                recorded_at=self.at,
                how=Inspection.How.VISUAL_DAY,
                note=f"From the list '{record.source_name}', row {record.external_id}: "
                f"'{word}'. The list gives the day, not the hour; noon stands for it.",
            )
            self.made.visits.append(visit)
            self.made.observations.append(
                Observation(
                    inspection=visit, kind=kind, severity=severity, note=word[:LONGEST_NOTE]
                )
            )

    def change(
        self,
        record: SourceRecord,
        ours: OurFaces,
        changes: Mapping[str, Any],
        support: Support,
    ) -> None:
        """Give our records what changed in a row, and nothing else."""
        whole = {**record.applied, **changes}
        self.change_positions(ours, changes, whole, support)
        for sign, position in zip(ours.signs, ours.positions, strict=True):
            if sign is None:
                continue
            fields = sign_values(changes, whole)
            if SourceField.SIZES in changes:
                fields |= {"width_in": position.width_in, "height_in": position.height_in}
            _save(sign, fields)
            if not {SourceField.COLORS, SourceField.SHEETING}.isdisjoint(changes):
                replace_areas(sign, changes, ours.areas.get(sign.pk, ()))
        self.note_condition(
            record,
            changes.get(SourceField.CONDITION),
            [sign for sign in ours.signs if sign is not None],
        )
        if SourceField.SIZES in changes and are_back_to_back(whole):
            width_in, height_in = whole[SourceField.SIZES][0]
            panels = {sign.panel_id for sign in ours.signs if sign is not None}
            Panel.objects.filter(pk__in=panels - {None}).update(
                width_in=width_in, height_in=height_in
            )
        self.make(record, whole, support, start=len(ours.positions))

    def change_positions(
        self,
        ours: OurFaces,
        changes: Mapping[str, Any],
        whole: Mapping[str, Any],
        support: Support,
    ) -> None:
        """Give our positions what changed in a row; ``whole`` is all the row says."""
        for number, position in enumerate(ours.positions):
            fields = position_values(changes, whole, number)
            if position.support_id != support.pk:
                fields["support"] = support
            _save(position, fields)

    def replace(
        self, record: SourceRecord, ours: OurFaces, whole: Mapping[str, Any], support: Support
    ) -> None:
        """Let the face a row now describes follow the one that stood there."""
        self.change_positions(ours, whole, whole, support)
        installed, precision = whole[SourceField.INSTALLED]
        day = date.fromisoformat(installed)
        for sign in ours.signs:
            if sign is not None and sign.state == Sign.State.INSTALLED:
                is_known = precision == "day" and (sign.installed_on or day) <= day
                fields = {
                    "state": Sign.State.REMOVED,
                    "removal_reason": Sign.RemovalReason.OTHER,
                    "removed_on": day if is_known else None,
                }
                _save(sign, fields)
        panel = self.panel(whole)
        signs = [self.make_sign(record, whole, position, panel) for position in ours.positions]
        self.note_condition(record, whole.get(SourceField.CONDITION), signs)
        self.make(record, whole, support, start=len(ours.positions))


# Fields --------------------------------------------------------------------------------------


def position_values(
    changes: Mapping[str, Any], whole: Mapping[str, Any], number: int
) -> dict[str, Any]:
    """Return the fields of a position that changes touch; ``whole`` is all the row says."""
    fields: dict[str, Any] = {
        attribute: changes[name] or ""
        for name, attribute in _POSITION_TEXTS.items()
        if name in changes
    }
    fields |= {
        attribute: changes[name]
        for name, attribute in _POSITION_NUMBERS.items()
        if name in changes
    }
    if SourceField.FACING in changes or SourceField.SIZES in changes:
        fields["facing_deg"] = facing_of(whole, number)
    if SourceField.SIZES in changes:
        sizes = changes[SourceField.SIZES] or []
        width, height = sizes[number] if number < len(sizes) else (None, None)
        fields |= {"width_in": width, "height_in": height}
    if SourceField.STATUS in changes:
        fields["is_retired"] = changes[SourceField.STATUS] == Sign.State.REMOVED
    return fields


def sign_values(changes: Mapping[str, Any], whole: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of a face that changes touch, its size excepted."""
    fields: dict[str, Any] = {
        attribute: changes[name] or ""
        for name, attribute in _SIGN_TEXTS.items()
        if name in changes
    }
    if SourceField.REPLACEMENT_YEAR in changes:
        fields["planned_replacement_year"] = changes[SourceField.REPLACEMENT_YEAR]
    for name, (attribute, precision) in _DATES.items():
        if name in changes:
            day, how_exact = changes[name] or (None, "day")
            fields |= {attribute: day and date.fromisoformat(day), precision: how_exact}
    if SourceField.STATUS in changes or SourceField.REMOVED in changes:
        is_removed = whole.get(SourceField.STATUS) == Sign.State.REMOVED
        removed = whole.get(SourceField.REMOVED)
        fields |= {
            "state": Sign.State.REMOVED if is_removed else Sign.State.INSTALLED,
            "removal_reason": Sign.RemovalReason.OTHER if is_removed else "",
            "removed_on": date.fromisoformat(removed[0]) if is_removed and removed else None,
        }
    return fields


def new_areas(
    sign: Sign, changes: Mapping[str, Any], before: Sequence[ColourArea]
) -> list[ColourArea]:
    """
    Return the colours of a face as changes leave it; a colour not known is blank.

    What the changes do not touch is kept: the colours, or the sheeting colour by colour.
    """
    colors = changes.get(SourceField.COLORS)
    if colors is None:
        colors = [[area.part, area.color] for area in before]
    kept = {area.color: (area.sheeting_type, area.optics) for area in before}
    common = next(iter(kept.values())) if len(set(kept.values())) == 1 else None
    unknown = ("", ColourArea.Optics.UNKNOWN)
    is_listed = SourceField.SHEETING in changes
    listed = tuple(changes[SourceField.SHEETING] or unknown) if is_listed else unknown
    if not colors and (listed if is_listed else common or unknown) != unknown:
        colors = [[ColourArea.Part.BACKGROUND, ""]]
    areas = []
    for number, (part, color) in enumerate(colors, start=1):
        sheeting_type, optics = listed if is_listed else kept.get(color, common or unknown)
        is_black = color == "black"  # black returns no headlight, whatever it lies on
        areas.append(
            ColourArea(
                sign=sign,
                number=number,
                part=part,
                color=color,
                sheeting_type=sheeting_type,
                optics=optics,
                colouring=ColourArea.Colouring.OPAQUE if is_black else "",
            )
        )
    return areas


def replace_areas(sign: Sign, changes: Mapping[str, Any], before: Sequence[ColourArea]) -> None:
    """Write the colours of a face anew."""
    areas = new_areas(sign, changes, before)
    ColourArea.objects.filter(sign=sign).delete()
    ColourArea.objects.bulk_create(areas)


def _set(record: models.Model, fields: Mapping[str, Any]) -> None:
    for name, value in fields.items():
        setattr(record, name, value)


def _save(record: models.Model, fields: Mapping[str, Any]) -> None:
    if fields:
        _set(record, fields)
        record.save(update_fields=list(fields))
