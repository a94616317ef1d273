"""Signs, and how each stands."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rest_framework import serializers, viewsets

from inventory.api.filters import SignFilter
from inventory.api.permissions import organisation_of
from inventory.models import ColourArea, Position, Sign
from inventory.models.scope import ALL_COLUMNS

if TYPE_CHECKING:
    from django.db.models import QuerySet

PARTS_OPEN_TO_ALL_READERS = {"id", "colour_areas"}


class ColourAreaSerializer(serializers.ModelSerializer[ColourArea]):
    class Meta:
        model = ColourArea
        fields = ("number", "part", "color", "sheeting_type", "optics", "colouring")


class PlaceSerializer(serializers.ModelSerializer[Position]):
    support_id = serializers.IntegerField()
    latitude_deg = serializers.FloatField(source="support.latitude_deg")
    longitude_deg = serializers.FloatField(source="support.longitude_deg")
    road_id = serializers.IntegerField(source="support.road_id", allow_null=True)
    district = serializers.CharField(source="support.district", allow_blank=True)

    class Meta:
        model = Position
        fields = (
            "id",
            "support_id",
            "latitude_deg",
            "longitude_deg",
            "road_id",
            "district",
            "facing_deg",
            "mount",
            "mounting_height_in",
            "order_on_support",
        )


class SignSerializer(serializers.ModelSerializer[Sign]):
    """A face; its maker reads fewer of its columns than its owner."""

    maker_id = serializers.IntegerField(allow_null=True)
    owner_id = serializers.IntegerField(allow_null=True)
    print_run_id = serializers.IntegerField(allow_null=True)
    position = PlaceSerializer(allow_null=True, required=False)
    colour_areas = ColourAreaSerializer(many=True)

    class Meta:
        model = Sign
        fields = (
            "id",
            "state",
            "label_id",
            "sign_code",
            "variant",
            "legend_text",
            "width_in",
            "height_in",
            "responsible",
            "maker_id",
            "owner_id",
            "fabricated_on",
            "fabricated_precision",
            "installed_on",
            "installed_precision",
            "removed_on",
            "removal_reason",
            "planned_replacement_year",
            "print_run_id",
            "print_number",
            "is_reconstructed",
            "position",
            "colour_areas",
        )

    def to_representation(self, instance: Sign) -> dict[str, Any]:
        shown: dict[str, Any] = super().to_representation(instance)
        organisation = organisation_of(self.context["request"])
        part = "owner" if instance.owner_id == organisation.pk else "maker"
        columns = Sign.reader_columns[part]
        if columns == ALL_COLUMNS:
            return shown
        open_names = {*columns, *PARTS_OPEN_TO_ALL_READERS}
        return {name: value for name, value in shown.items() if name in open_names}


class SignViewSet(viewsets.ReadOnlyModelViewSet[Sign]):
    """Faces the organisation owns, or made."""

    queryset = Sign.objects.none()
    serializer_class = SignSerializer
    filterset_class = SignFilter

    def get_queryset(self) -> QuerySet[Sign]:
        return (
            Sign.objects.readable_by(organisation_of(self.request))
            .select_related("position__support")
            .prefetch_related("colour_areas")
            .order_by("pk")
        )
