"""How lists are narrowed; the same questions as on the pages."""

from __future__ import annotations

import django_filters as filters

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.models import Inspection, PrintOrder, Sign, Standing

VERDICTS = [(verdict.value, verdict.value) for verdict in Verdict]


class StandingFilter(filters.FilterSet):  # type: ignore[misc]  # the package has no types
    code = filters.CharFilter(field_name="sign_code", lookup_expr="istartswith")
    verdict = filters.MultipleChoiceFilter(choices=VERDICTS, distinct=False)
    due = filters.BooleanFilter(field_name="is_due")
    road = filters.NumberFilter(field_name="road_id")

    class Meta:
        model = Standing
        fields = ("safety_class", "condition", "responsible", "sheeting")


class SignFilter(filters.FilterSet):  # type: ignore[misc]  # the package has no types
    code = filters.CharFilter(field_name="sign_code", lookup_expr="istartswith")

    class Meta:
        model = Sign
        fields = ("state", "responsible", "label_id")


class InspectionFilter(filters.FilterSet):  # type: ignore[misc]  # the package has no types
    sign = filters.NumberFilter(field_name="sign_id")
    taken = filters.IsoDateTimeFromToRangeFilter(field_name="taken_at")

    class Meta:
        model = Inspection
        fields = ("how",)


class OrderFilter(filters.FilterSet):  # type: ignore[misc]  # the package has no types
    class Meta:
        model = PrintOrder
        fields = ("state",)
