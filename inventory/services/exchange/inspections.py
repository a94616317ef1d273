"""Runs of inspections that phones sent, stored and judged together."""

from __future__ import annotations

import logging
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from django.db import transaction

from inventory.errors import InventoryError, OutOfRangeError
from inventory.models import Inspection, Observation, Sign, Standing
from inventory.services.exchange import shapes
from inventory.services.exchange.holding import FAULTS, NotStoredError
from inventory.services.inspection_batch import Visit, record_inspections
from inventory.services.inspection_input import (
    MAXIMUM_READINGS_PER_SET,
    ObservationInput,
    ReadingSetInput,
    VisualRatingInput,
)
from inventory.services.judging import latest_assessments
from inventory.services.relinks import signs_kept_for

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

MOST_SETS = 50
MOST_OBSERVATIONS = 50
MOST_SEVERITY = max(Observation.Severity.values)
LONGEST_WORD = 32
LONGEST_ANGLE = 24
LONGEST_NOTE = 10_000
LONGEST_SEEN = Observation._meta.get_field("note").max_length or 0

logger = logging.getLogger(__name__)


def apply_inspections(
    run: Sequence[tuple[Content, Context]],
) -> list[dict[str, Any] | InventoryError]:
    """
    Store inspections of one organisation's signs; return of each what it made, or why not.

    Those that correct each other are of different runs. The number of queries does not grow
    with the run.
    """
    outcomes: dict[int, dict[str, Any] | InventoryError] = {}
    visits: dict[int, Visit] = {}
    for place, (content, context) in enumerate(run):
        try:
            visits[place] = _visit(content, context)
        except InventoryError as error:
            outcomes[place] = error
    if visits:
        context = run[0][1]
        visits = _of_kept_signs(visits)
        stored = _stored(list(visits.values()), context)
        verdicts = _verdicts([each.sign_id for each in stored if isinstance(each, Inspection)])
        for place, outcome in zip(visits, stored, strict=True):
            outcomes[place] = (
                _result(outcome, verdicts) if isinstance(outcome, Inspection) else outcome
            )
    return [outcomes[place] for place in range(len(run))]


def _visit(content: Content, context: Context) -> Visit:
    """Return the visit that an operation tells of, or say what is wrong with its payload."""
    payload = content.payload
    corrects = payload.get("corrects")
    rating = shapes.mapping_or_none(payload, "visual_rating")
    return Visit(
        sign_id=context.key_of(payload.get("sign"), Sign, "sign"),
        taken_at=context.at,
        how=shapes.choice(payload, "how", Inspection.How.values),
        inspector=context.person,
        client_uuid=content.client_uuid,
        surface_state=shapes.choice(
            payload, "surface_state", Inspection.SurfaceState.values, default=""
        ),
        instrument_id=shapes.whole_or_none(payload, "instrument_id", least=1),
        reading_sets=tuple(
            _reading_set(each)
            for each in shapes.mappings(payload, "reading_sets", most=MOST_SETS, default=[])
        ),
        observations=tuple(
            ObservationInput(
                kind=shapes.choice(each, "kind", Observation.Kind.values),
                severity=shapes.whole(each, "severity", least=0, most=MOST_SEVERITY),
                note=shapes.text(each, "note", most=LONGEST_SEEN, default=""),
            )
            for each in shapes.mappings(
                payload, "observations", most=MOST_OBSERVATIONS, default=[]
            )
        ),
        visual_rating=None
        if rating is None
        else VisualRatingInput(
            procedure=shapes.text(rating, "procedure", most=LONGEST_WORD),
            is_adequate=shapes.truth(rating, "is_adequate"),
            evidence=shapes.mapping(rating, "evidence", default={}),
        ),
        note=shapes.text(payload, "note", most=LONGEST_NOTE, default=""),
        device_offset_minutes=content.device_offset_minutes,
        corrects_id=None
        if corrects is None
        else context.key_of(corrects, Inspection, "corrects"),
        is_confirmed=shapes.truth(payload, "is_confirmed", default=False),
        are_photos_coming=bool(content.photos),
    )


def _reading_set(of: Mapping[str, Any]) -> ReadingSetInput:
    values = shapes.items(of, "values", most=MAXIMUM_READINGS_PER_SET)
    for each in values:
        if not isinstance(each, str):
            msg = f"values holds {shapes.shown(each)}; each must be a text, as it was typed."
            raise OutOfRangeError(msg)
    rotation = of.get("rotation_angle_deg")
    return ReadingSetInput(
        color=shapes.text(of, "color", most=LONGEST_WORD),
        values=values,
        observation_angle_deg=shapes.text(of, "observation_angle_deg", most=LONGEST_ANGLE),
        entrance_angle_deg=shapes.text(of, "entrance_angle_deg", most=LONGEST_ANGLE),
        rotation_angle_deg=None
        if rotation is None
        else shapes.text(of, "rotation_angle_deg", most=LONGEST_ANGLE),
    )


def _of_kept_signs(visits: dict[int, Visit]) -> dict[int, Visit]:
    """Let a sign that was merged away since stand for the one that is kept."""
    kept_for = signs_kept_for({each.sign_id for each in visits.values()})
    if not kept_for:
        return visits
    return {
        place: replace(visit, sign_id=kept_for.get(visit.sign_id, visit.sign_id))
        for place, visit in visits.items()
    }


def _stored(visits: Sequence[Visit], context: Context) -> list[Inspection | InventoryError]:
    try:
        with transaction.atomic():
            return record_inspections(
                organisation=context.organisation, visits=visits, now=context.now
            )
    except FAULTS:
        logger.exception("a run of %d inspections was not stored", len(visits))
        if len(visits) > 1:
            return [outcome for visit in visits for outcome in _stored([visit], context)]
        return [NotStoredError()]


def _verdicts(sign_ids: Sequence[int]) -> dict[int, tuple[str, str]]:
    """Return the verdict on each sign as it stands now, and why."""
    rows = Standing.objects.filter(sign__in=set(sign_ids)).values_list(
        "sign_id", "verdict", "reason"
    )
    found = {sign_id: (verdict, reason) for sign_id, verdict, reason in rows}
    taken_down = sorted(set(sign_ids) - set(found))
    if taken_down:
        for sign_id, assessment in latest_assessments(taken_down).items():
            found[sign_id] = (assessment.verdict, assessment.reason)
    return found


def _result(inspection: Inspection, verdicts: Mapping[int, tuple[str, str]]) -> dict[str, Any]:
    verdict, reason = verdicts.get(inspection.sign_id, ("", ""))
    return {
        "inspection_id": inspection.pk,
        "sign_id": inspection.sign_id,
        "verdict": verdict,
        "reason": reason,
    }
