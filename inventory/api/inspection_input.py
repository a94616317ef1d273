"""What the phone sends of a visit: shapes only, the service judges the content."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.models import Inspection, Observation, VisualRating
from inventory.services.inspection import (
    ObservationInput,
    ReadingSetInput,
    VisualRatingInput,
)

LONGEST_NUMBER_TEXT = 24
LONGEST_COLOR = 32
LONGEST_NOTE = 255
LONGEST_VISIT_NOTE = 10_000
MOST_SETS = 20
MOST_VALUES = 100
MOST_OBSERVATIONS = 50
MOST_OFFSET_MINUTES = 14 * 60  # UTC+14 is the furthest time zone (IANA, Pacific/Kiritimati)


class ReadingSetInputSerializer(serializers.Serializer[ReadingSetInput]):
    """Values of one colour, each as the text that was typed."""

    color = serializers.CharField(max_length=LONGEST_COLOR)
    values = serializers.ListField(
        child=serializers.CharField(max_length=LONGEST_NUMBER_TEXT),
        min_length=1,
        max_length=MOST_VALUES,
    )
    observation_angle_deg = serializers.CharField(default="0.2", max_length=LONGEST_NUMBER_TEXT)
    entrance_angle_deg = serializers.CharField(default="-4.0", max_length=LONGEST_NUMBER_TEXT)
    rotation_angle_deg = serializers.CharField(
        default=None, allow_null=True, max_length=LONGEST_NUMBER_TEXT
    )

    def to_internal_value(self, data: Any) -> ReadingSetInput:
        return ReadingSetInput(**super().to_internal_value(data))


class ObservationInputSerializer(serializers.Serializer[ObservationInput]):
    kind = serializers.ChoiceField(choices=Observation.Kind.choices)
    severity = serializers.ChoiceField(choices=Observation.Severity.choices)
    note = serializers.CharField(default="", allow_blank=True, max_length=LONGEST_NOTE)

    def to_internal_value(self, data: Any) -> ObservationInput:
        return ObservationInput(**super().to_internal_value(data))


class VisualRatingInputSerializer(serializers.Serializer[VisualRatingInput]):
    procedure = serializers.ChoiceField(choices=VisualRating.Procedure.choices)
    is_adequate = serializers.BooleanField()
    evidence = serializers.DictField(default=dict)

    def to_internal_value(self, data: Any) -> VisualRatingInput:
        return VisualRatingInput(**super().to_internal_value(data))


class InspectionInputSerializer(serializers.Serializer[Inspection]):
    """One visit; ``client_uuid`` makes sending it twice the same as once."""

    client_uuid = serializers.UUIDField()
    sign_id = serializers.IntegerField(min_value=1)
    taken_at = serializers.DateTimeField()
    device_offset_minutes = serializers.IntegerField(
        default=0, min_value=-MOST_OFFSET_MINUTES, max_value=MOST_OFFSET_MINUTES
    )
    how = serializers.ChoiceField(choices=Inspection.How.choices)
    surface_state = serializers.ChoiceField(
        choices=Inspection.SurfaceState.choices, default="", allow_blank=True
    )
    instrument_id = serializers.IntegerField(default=None, allow_null=True, min_value=1)
    corrects_id = serializers.IntegerField(default=None, allow_null=True, min_value=1)
    note = serializers.CharField(default="", allow_blank=True, max_length=LONGEST_VISIT_NOTE)
    reading_sets = serializers.ListField(
        child=ReadingSetInputSerializer(), default=list, max_length=MOST_SETS
    )
    observations = serializers.ListField(
        child=ObservationInputSerializer(), default=list, max_length=MOST_OBSERVATIONS
    )
    visual_rating = VisualRatingInputSerializer(default=None, allow_null=True)
    is_confirmed = serializers.BooleanField(
        default=False,
        help_text="Keep what is unlikely (error code 'unlikely') as it is; it is noted.",
    )
