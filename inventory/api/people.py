"""The rules an agency judges by."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.api.permissions import organisation_of
from inventory.models import AgencyPolicy, Role
from inventory.services.people import policy_at


class PolicySerializer(serializers.ModelSerializer[AgencyPolicy]):
    class Meta:
        model = AgencyPolicy
        fields = (
            "version",
            "effective_on",
            "edition",
            "uses_recommended_levels",
            "decision_rule",
            "guard_probability",
            "instrument_repeatability_rel",
            "instrument_common_rel",
            "single_reading_scatter_rel",
            "uncertainty_basis",
            "fluorescent_yellow_basis",
            "fluorescent_orange_basis",
            "excluded_groups",
            "due_probability",
            "due_soon_months",
            "press_rate_ft2_per_h",
            "basis",
        )


class PolicyView(APIView):
    """The rules in force today."""

    roles = (Role.ENGINEER, Role.CREW)

    @extend_schema(responses=PolicySerializer)
    def get(self, request: Request) -> Response:
        policy = policy_at(organisation_of(request), timezone.localdate())
        return Response(PolicySerializer(policy).data)
