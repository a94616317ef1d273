"""What was seen and measured: read here, and recorded by the phone."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING, Any, cast

from drf_spectacular.utils import extend_schema
from rest_framework import mixins, serializers, viewsets
from rest_framework.response import Response

from inventory.api.filters import InspectionFilter
from inventory.api.inspection_input import InspectionInputSerializer
from inventory.api.permissions import organisation_of
from inventory.api.refused import kept_when_refused
from inventory.models import (
    Inspection,
    Instrument,
    Observation,
    Reading,
    ReadingSet,
    RefusedEntry,
    Role,
    Sign,
    VisualRating,
)
from inventory.services.inspection import record_inspection

if TYPE_CHECKING:
    from django.db.models import QuerySet
    from rest_framework.request import Request

    from inventory.models import Organisation, User
    from inventory.models.scope import Scoped


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
    """
    Visits to signs; a stored one is never changed, only corrected by a new one.

    Sending the same ``client_uuid`` again is answered with what was stored the first time;
    with other content it is refused. What is refused is kept, for the engineer to look at.
    """

    queryset = Inspection.objects.none()
    serializer_class = InspectionSerializer
    filterset_class = InspectionFilter
    roles = (Role.ENGINEER, Role.CREW)

    @extend_schema(
        request=InspectionInputSerializer, responses={HTTPStatus.CREATED: InspectionSerializer}
    )
    def create(self, request: Request) -> Response:
        with kept_when_refused(request, RefusedEntry.Kind.INSPECTION):
            stored = self._record(request)
        shown = self.get_serializer(self.get_queryset().get(pk=stored.pk))
        return Response(shown.data, status=HTTPStatus.CREATED)

    def _record(self, request: Request) -> Inspection:
        sent = InspectionInputSerializer(data=request.data)
        sent.is_valid(raise_exception=True)
        values = sent.validated_data
        organisation = organisation_of(request)
        return record_inspection(
            sign=_own(Sign, values.pop("sign_id"), organisation, "sign_id"),
            instrument=_own(
                Instrument, values.pop("instrument_id"), organisation, "instrument_id"
            ),
            corrects=_own(Inspection, values.pop("corrects_id"), organisation, "corrects_id"),
            inspector=cast("User", request.user),
            **values,
        )

    def get_queryset(self) -> QuerySet[Inspection]:
        return (
            Inspection.objects.owned_by(organisation_of(self.request))
            .select_related("inspector")
            .prefetch_related("reading_sets__readings", "observations", "visual_ratings")
            .order_by("-taken_at", "-pk")
        )


def _own(model: type[Scoped], key: int | None, organisation: Organisation, field: str) -> Any:
    """Return a record of the organisation that the phone names, or say that there is none."""
    if key is None:
        return None
    found = model.objects.owned_by(organisation).filter(pk=key).first()
    if found is None:
        msg = f"There is no {model._meta.verbose_name} {key} among those you may use."
        raise serializers.ValidationError({field: [msg]})
    return found
