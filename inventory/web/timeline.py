"""A face's history as one list: made, installed, seen, judged, decided, removed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from inventory.engineering.standards.night_procedures import (
    NightProcedure,
    hit_rate_sentence,
)
from inventory.units import partial_date

if TYPE_CHECKING:
    from datetime import date

    from inventory.models import DeviceOperation, Inspection, Sign, VisualRating
    from inventory.services.sign_record import SignRecord


@dataclass(frozen=True)
class Event:
    """Something that happened to a face; a bare day is shown as far as it is known."""

    sort_key: datetime
    at: datetime | None
    day_words: str
    what: str
    detail: str = ""
    who: str = ""


def timeline(record: SignRecord, zone: ZoneInfo) -> list[Event]:
    """Return the events of a face, newest first; what has no date at all comes last."""
    events = [*_life(record.sign, zone)]
    events.extend(
        _seen(inspection, record.identified.get(inspection.pk))
        for inspection in record.inspections
    )
    events.extend(
        _moment(a.assessed_at, f"Judged: {a.verdict}", a.reason) for a in record.assessments
    )
    events.extend(
        _moment(
            d.decided_at,
            f"Decided: {d.get_decision_display()}",
            d.reason,
            str(d.decided_by or ""),
        )
        for d in record.dispositions
    )
    told = {event.at for event in events if event.at}
    events.extend(
        _moment(entry.at, entry.text, "", str(entry.actor or ""))
        for entry in record.entries
        if entry.at not in told or "damage" in entry.detail
    )
    return sorted(events, key=lambda event: event.sort_key, reverse=True)


def _life(sign: Sign, zone: ZoneInfo) -> list[Event]:
    rows: list[tuple[date | None, str, str, str]] = [
        (sign.fabricated_on, sign.fabricated_precision, "Made", ""),
        (sign.installed_on, sign.installed_precision, "Installed", ""),
        (sign.removed_on, "day", "Removed", sign.get_removal_reason_display()),
    ]
    return [
        Event(
            sort_key=datetime.combine(day, time.min, tzinfo=zone),
            at=None,
            day_words=partial_date(day, precision),
            what=what,
            detail=detail,
        )
        for day, precision, what, detail in rows
        if day is not None
    ]


def _seen(inspection: Inspection, operation: DeviceOperation | None) -> Event:
    """Return a visit in words: what was read, what was seen, how the sign was found."""
    parts = [
        f"{reading_set.color} {', '.join(r.typed for r in reading_set.readings.all())} cd/lx/m²"
        for reading_set in inspection.reading_sets.all()
    ]
    parts.extend(str(observation) for observation in inspection.observations.all())
    parts.extend(_rated(rating) for rating in inspection.visual_ratings.all())
    if inspection.surface_state:
        parts.append(f"surface {inspection.get_surface_state_display()}")
    if inspection.note:
        parts.append(f"note: {inspection.note}")
    if operation is not None:
        parts.append(found_words(operation))
    return _moment(
        inspection.taken_at,
        f"Inspected, {inspection.get_how_display()}",
        "; ".join(parts),
        str(inspection.inspector or ""),
    )


def found_words(operation: DeviceOperation) -> str:
    """Return how a person with a phone found the sign, and how sure the phone was."""
    words = f"found by: {operation.get_identified_by_display()}"
    if operation.fix_accuracy_m is not None:
        words += f", phone good to {operation.fix_accuracy_m:.0f} m"
    count = operation.candidate_count
    if count is not None:
        words += f", {count} {'sign' if count == 1 else 'signs'} within that"
    return words


def _rated(rating: VisualRating) -> str:
    """Return a rating by night in words, with how often such ratings are right."""
    word = "adequate" if rating.is_adequate else "not adequate"
    procedure = NightProcedure(rating.procedure).words
    return f"{word} by night ({procedure}). {hit_rate_sentence()}"


def _moment(at: datetime, what: str, detail: str, who: str = "") -> Event:
    return Event(sort_key=at, at=at, day_words="", what=what, detail=detail, who=who)
