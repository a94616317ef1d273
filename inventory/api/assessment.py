"""How signs stand, and the verdicts that say so."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.shortcuts import get_object_or_404
from rest_framework import generics, serializers, viewsets

from inventory.api.filters import StandingFilter
from inventory.api.permissions import organisation_of
from inventory.models import Assessment, ElementAssessment, Role, Sign, Standing

if TYPE_CHECKING:
    from django.db.models import QuerySet

FIELD_ROLES = (Role.ENGINEER, Role.CREW)


class StandingSerializer(serializers.ModelSerializer[Standing]):
    sign_id = serializers.IntegerField()
    assessment_id = serializers.IntegerField(allow_null=True)
    road_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = Standing
        fields = (
            "sign_id",
            "assessment_id",
            "verdict",
            "reason",
            "margin_ratio",
            "condition",
            "condition_text",
            "is_due",
            "due_on",
            "due_reason",
            "safety_class",
            "responsible",
            "sign_code",
            "sign_name",
            "sheeting",
            "road_id",
            "latitude_deg",
            "longitude_deg",
            "last_inspected_on",
            "rebuilt_at",
        )


class StandingViewSet(viewsets.ReadOnlyModelViewSet[Standing]):
    """Installed signs in the order of the due list."""

    queryset = Standing.objects.none()
    serializer_class = StandingSerializer
    filterset_class = StandingFilter
    lookup_field = "sign_id"
    roles = FIELD_ROLES

    def get_queryset(self) -> QuerySet[Standing]:
        return Standing.objects.owned_by(organisation_of(self.request)).order_by(
            "-is_due", "due_order", "sign_id"
        )


class ElementSerializer(serializers.ModelSerializer[ElementAssessment]):
    class Meta:
        model = ElementAssessment
        fields = (
            "number",
            "kind",
            "color",
            "verdict",
            "value",
            "level",
            "reading_count",
            "expanded_uncertainty",
            "interval_low",
            "interval_high",
            "probability",
            "further_readings",
            "flags",
            "table_id",
            "row_id",
            "checked",
            "reason",
        )


class AssessmentSerializer(serializers.ModelSerializer[Assessment]):
    sign_id = serializers.IntegerField()
    inspection_id = serializers.IntegerField(allow_null=True)
    policy_version = serializers.IntegerField(source="policy.version")
    elements = ElementSerializer(many=True)

    class Meta:
        model = Assessment
        fields = (
            "id",
            "sign_id",
            "inspection_id",
            "policy_version",
            "assessed_at",
            "method_version",
            "edition",
            "verdict",
            "probability_low",
            "probability_high",
            "reason",
            "facts",
            "elements",
        )


class SignAssessmentList(generics.ListAPIView[Assessment]):
    """Every verdict on one sign, newest first; none is ever rewritten."""

    queryset = Assessment.objects.none()
    serializer_class = AssessmentSerializer
    roles = FIELD_ROLES

    def get_queryset(self) -> QuerySet[Assessment]:
        organisation = organisation_of(self.request)
        sign = get_object_or_404(Sign.objects.owned_by(organisation), pk=self.kwargs["sign_id"])
        return (
            Assessment.objects.owned_by(organisation)
            .filter(sign=sign)
            .select_related("policy")
            .prefetch_related("elements")
            .order_by("-assessed_at", "-pk")
        )
