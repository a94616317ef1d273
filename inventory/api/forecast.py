"""What is forecast of signs, and the cohorts it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import django_filters
from rest_framework import serializers, viewsets

from inventory.api.permissions import organisation_of
from inventory.models import CohortFit, LotFinding, Role, SignForecast

if TYPE_CHECKING:
    from django.db.models import QuerySet


class SignForecastSerializer(serializers.ModelSerializer[SignForecast]):
    """When a sign is due; an empty day with a basis is not within 30 years."""

    sign_id = serializers.IntegerField()
    fit_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = SignForecast
        fields = (
            "sign_id",
            "as_of_on",
            "method_version",
            "basis",
            "end",
            "color",
            "fit_id",
            "level_cd_lx_m2",
            "ra_cd_lx_m2",
            "ra_low_cd_lx_m2",
            "ra_high_cd_lx_m2",
            "probability_below",
            "probabilities_below",
            "due_on",
            "due_early_on",
            "due_late_on",
            "is_extrapolated",
            "safety_class",
            "sentence",
        )


class SignForecastFilter(django_filters.FilterSet):  # type: ignore[misc]  # the package has no types
    """By due date, safety class and basis."""

    due_before = django_filters.DateFilter(field_name="due_on", lookup_expr="lt")
    safety_class = django_filters.NumberFilter(min_value=1, max_value=4)
    basis = django_filters.ChoiceFilter(choices=SignForecast.Basis.choices)

    class Meta:
        model = SignForecast
        fields = ("due_before", "safety_class", "basis")


class SignForecastViewSet(viewsets.ReadOnlyModelViewSet[SignForecast]):
    """What is forecast of the agency's signs, the earliest due first."""

    roles = (Role.ENGINEER,)
    queryset = SignForecast.objects.none()
    serializer_class = SignForecastSerializer
    filterset_class = SignForecastFilter
    lookup_field = "sign_id"

    def get_queryset(self) -> QuerySet[SignForecast]:
        rows: QuerySet[SignForecast] = SignForecast.objects.owned_by(
            organisation_of(self.request)
        )
        return rows.defer("colors").order_by("due_on", "safety_class", "sign_id")


class CohortSerializer(serializers.ModelSerializer[CohortFit]):
    """What the readings of one cohort said together."""

    class Meta:
        model = CohortFit
        fields = (
            "id",
            "key",
            "sheeting_type",
            "optics",
            "color",
            "colouring",
            "overlay",
            "how",
            "method_version",
            "fitted_at",
            "newest_reading_on",
            "sign_count",
            "unknown_age_count",
            "visit_count",
            "oldest_age_years",
            "scale",
            "shape",
            "parameters",
            "scores",
            "left_out",
            "life",
        )


class CohortViewSet(viewsets.ReadOnlyModelViewSet[CohortFit]):
    """The fit of each cohort that holds now."""

    roles = (Role.ENGINEER,)
    queryset = CohortFit.objects.none()
    serializer_class = CohortSerializer

    def get_queryset(self) -> QuerySet[CohortFit]:
        rows: QuerySet[CohortFit] = CohortFit.objects.owned_by(organisation_of(self.request))
        return rows.filter(succeeded_at__isnull=True).defer("cloud").order_by("key")


class LotFindingSerializer(serializers.ModelSerializer[LotFinding]):
    """What the readings say of one lot; changes are a share of R_A a year."""

    class Meta:
        model = LotFinding
        fields = (
            "id",
            "kind",
            "name",
            "members",
            "found_at",
            "method_version",
            "sign_count",
            "visit_count",
            "effect_per_year",
            "effect_low_per_year",
            "effect_high_per_year",
            "cohort_change_per_year",
            "p_value",
            "q_value",
            "is_suspect",
            "told_apart_by",
        )


class LotFindingFilter(django_filters.FilterSet):  # type: ignore[misc]  # the package has no types
    """By kind, and suspect ones alone."""

    kind = django_filters.ChoiceFilter(choices=LotFinding.Kind.choices)
    is_suspect = django_filters.BooleanFilter()

    class Meta:
        model = LotFinding
        fields = ("kind", "is_suspect")


class LotFindingViewSet(viewsets.ReadOnlyModelViewSet[LotFinding]):
    """Lots compared with ordinary ones of their kind, suspect ones first."""

    roles = (Role.ENGINEER, Role.SHOP)
    queryset = LotFinding.objects.none()
    serializer_class = LotFindingSerializer
    filterset_class = LotFindingFilter

    def get_queryset(self) -> QuerySet[LotFinding]:
        rows: QuerySet[LotFinding] = LotFinding.objects.readable_by(
            organisation_of(self.request)
        )
        return rows.defer("detail").order_by("-is_suspect", "q_value", "key", "pk")
