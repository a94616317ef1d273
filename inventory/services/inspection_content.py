"""What an inspection says, in the form in which two are compared and in words."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Any

from inventory.errors import StateConflictError
from inventory.models import Inspection, Observation

if TYPE_CHECKING:
    import uuid
    from collections.abc import Collection, Sequence

    from inventory.services.inspection_input import (
        ObservationInput,
        PhotoInput,
        UnderstoodSet,
        VisualRatingInput,
    )


def stored_under(client_uuids: Collection[uuid.UUID]) -> dict[uuid.UUID, Inspection]:
    """Return the inspections that are stored under keys already; one query if none is."""
    rows = (
        Inspection.objects.filter(client_uuid__in=client_uuids)
        .select_related("organisation")
        .prefetch_related("reading_sets__readings", "observations", "visual_ratings", "photos")
        .order_by("pk")
    )
    return {row.client_uuid: row for row in rows}


def check_same(known: Inspection, stored: dict[str, Any], wanted: dict[str, Any]) -> None:
    """Refuse an inspection of other content than the one its key stands for already."""
    # Photos may have been added to the inspection since: those sent must be among them.
    if stored | {"photos": ""} != wanted | {"photos": ""} or not (
        set(wanted["photos"]) <= set(stored["photos"])
    ):
        msg = (
            "An inspection with other content was already stored under the key "
            f"{known.client_uuid} (sign {known.sign_id}, "
            f"{known.organisation.clock_words(known.taken_at)}); it stays as it is. Send this "
            "one under a key of its own, or as a correction."
        )
        raise StateConflictError(msg)


def content_sent(
    inspection: Inspection,
    sets: Sequence[UnderstoodSet],
    observations: Sequence[ObservationInput],
    visual_rating: VisualRatingInput | None,
    photos: Sequence[PhotoInput],
) -> dict[str, Any]:
    """Return what an inspection says that was sent."""
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


def content_stored(inspection: Inspection) -> dict[str, Any]:
    """Return what a stored inspection says."""
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


def logbook_words(
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
