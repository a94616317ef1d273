"""What was seen and measured: read here, and recorded by the phone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rest_framework import mixins, serializers, viewsets

from inventory.api.filters import InspectionFilter
from inventory.api.permissions import organisation_of
from inventory.models import (
    Inspection,
    Observation,
    Reading,
    ReadingSet,
    Role,
    VisualRating,
)

if TYPE_CHECKING:
    from django.db.models import QuerySet


class ReadingSerializer(serializers.ModelSerializer[Reading]):
    class Meta:
        model = Reading
        fields = ("number", "typed", "ra_cd_lx_m2", "place_on_face")


class ReadingSetSerializer(serializers.ModelSerializer[ReadingSet]):
    readings = ReadingSerializer(many=True)

    class Meta:
        model = ReadingSet
        fields = (
            "number",
            "color",
            "observation_angle_deg",
            "entrance_angle_deg",
            "rotation_angle_deg",
            "readings",
        )


class ObservationSerializer(serializers.ModelSerializer[Observation]):
    class Meta:
        model = Observation
        fields = ("kind", "severity", "note")


class VisualRatingSerializer(serializers.ModelSerializer[VisualRating]):
    class Meta:
        model = VisualRating
        fields = ("procedure", "is_adequate", "evidence")


class InspectionSerializer(serializers.ModelSerializer[Inspection]):
    sign_id = serializers.IntegerField()
    instrument_id = serializers.IntegerField(allow_null=True)
    corrects_id = serializers.IntegerField(allow_null=True)
    inspector = serializers.StringRelatedField[Inspection]()
    reading_sets = ReadingSetSerializer(many=True)
    observations = ObservationSerializer(many=True)
    visual_ratings = VisualRatingSerializer(many=True)

    class Meta:
        model = Inspection
        fields = (
            "id",
            "client_uuid",
            "sign_id",
            "taken_at",
            "recorded_at",
            "device_offset_minutes",
            "inspector",
            "how",
            "surface_state",
            "instrument_id",
            "note",
            "corrects_id",
            "reading_sets",
            "observations",
            "visual_ratings",
        )


class InspectionViewSet(
    mixins.ListModelMixin,
    mixins.RetrieveModelMixin,
    viewsets.GenericViewSet[Inspection],
):
    """Visits to signs; a stored one is never changed, only corrected by a new one."""

    queryset = Inspection.objects.none()
    serializer_class = InspectionSerializer
    filterset_class = InspectionFilter
    roles = (Role.ENGINEER, Role.CREW)

    def get_queryset(self) -> QuerySet[Inspection]:
        return (
            Inspection.objects.owned_by(organisation_of(self.request))
            .select_related("inspector")
            .prefetch_related("reading_sets__readings", "observations", "visual_ratings")
            .order_by("-taken_at", "-pk")
        )
