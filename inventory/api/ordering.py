"""Orders between an agency and its shop; each party reads its own columns."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rest_framework import serializers, viewsets

from inventory.api.filters import OrderFilter
from inventory.api.permissions import organisation_of
from inventory.models import OrderLine, PrintOrder, Role
from inventory.models.scope import ALL_COLUMNS

if TYPE_CHECKING:
    from django.db.models import QuerySet

PARTS_OPEN_TO_BOTH = {"id", "lines"}


class OrderLineSerializer(serializers.ModelSerializer[OrderLine]):
    position_id = serializers.IntegerField(allow_null=True)
    replaces_id = serializers.IntegerField(allow_null=True)

    class Meta:
        model = OrderLine
        fields = (
            "number",
            "position_id",
            "replaces_id",
            "sign_code",
            "variant",
            "legend_text",
            "is_custom_legend",
            "shape",
            "width_in",
            "height_in",
            "quantity",
            "sheeting_type",
            "optics",
            "base_color",
            "background_color",
            "legend_color",
            "secondary_color",
            "reason",
        )


class OrderSerializer(serializers.ModelSerializer[PrintOrder]):
    agency_id = serializers.IntegerField()
    shop_id = serializers.IntegerField()

    class Meta:
        model = PrintOrder
        fields: tuple[str, ...] = (
            "id",
            "number",
            "title",
            "state",
            "agency_id",
            "shop_id",
            "drafted_at",
            "needed_by_on",
            "released_at",
            "press_rate_ft2_per_h",
        )

    def to_representation(self, instance: PrintOrder) -> dict[str, Any]:
        shown: dict[str, Any] = super().to_representation(instance)
        organisation = organisation_of(self.context["request"])
        part = "owner" if instance.agency_id == organisation.pk else "counterparty"
        columns = PrintOrder.reader_columns[part]
        if columns == ALL_COLUMNS:
            return shown
        open_names = {*columns, *PARTS_OPEN_TO_BOTH}
        return {name: value for name, value in shown.items() if name in open_names}


class OrderWithLinesSerializer(OrderSerializer):
    lines = OrderLineSerializer(many=True)

    class Meta(OrderSerializer.Meta):
        fields = (*OrderSerializer.Meta.fields, "lines")


class OrderViewSet(viewsets.ReadOnlyModelViewSet[PrintOrder]):
    """Orders the organisation placed or took."""

    queryset = PrintOrder.objects.none()
    serializer_class = OrderSerializer
    filterset_class = OrderFilter
    roles = (Role.ENGINEER, Role.SHOP)

    def get_serializer_class(self) -> type[OrderSerializer]:
        return OrderWithLinesSerializer if self.action == "retrieve" else OrderSerializer

    def get_queryset(self) -> QuerySet[PrintOrder]:
        orders = PrintOrder.objects.readable_by(organisation_of(self.request))
        if self.action == "retrieve":
            orders = orders.prefetch_related("lines")
        return orders.order_by("-drafted_at", "pk")
