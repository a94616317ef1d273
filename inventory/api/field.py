"""What a phone takes along: lists, the signs of an area, faces in stock, small pictures."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import orjson
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.views import APIView

from inventory.api.permissions import organisation_of
from inventory.models import Photo, Role, WorkPackage
from inventory.services.field.area import carry_page, supports_in_box, supports_of_package
from inventory.services.field.basics import field_basics
from inventory.services.field.stock import stock_page
from inventory.services.photos import small_photo
from inventory.services.sign_map import Box

if TYPE_CHECKING:
    from rest_framework.request import Request

    from inventory.models import User

FIELD_ROLES = (Role.CREW, Role.ENGINEER)
LONGEST_PAGE = 1_000_000
EDGES = ("south_deg", "west_deg", "north_deg", "east_deg")


class PageSerializer(serializers.Serializer[Any]):
    """Which page, from 1."""

    page = serializers.IntegerField(default=1, min_value=1, max_value=LONGEST_PAGE)


class AreaSerializer(PageSerializer):
    """Which area: a work package, or a box by its four edges in WGS 84 degrees."""

    package = serializers.IntegerField(required=False, min_value=1)
    south_deg = serializers.FloatField(required=False, min_value=-90, max_value=90)
    west_deg = serializers.FloatField(required=False, min_value=-180, max_value=180)
    north_deg = serializers.FloatField(required=False, min_value=-90, max_value=90)
    east_deg = serializers.FloatField(required=False, min_value=-180, max_value=180)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        given = [edge for edge in EDGES if edge in attrs]
        if ("package" in attrs) == bool(given) or (given and len(given) < len(EDGES)):
            msg = f"Say which area: either package, or all of {', '.join(EDGES)}."
            raise serializers.ValidationError(msg)
        return attrs


@method_decorator(gzip_page, name="dispatch")
class FieldView(APIView):
    """An answer for the phone, packed."""

    roles = FIELD_ROLES


class FieldBasics(FieldView):
    """Rules, instruments, packages and words."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> HttpResponse:
        return _json(
            field_basics(
                organisation=organisation_of(request),
                person=cast("User", request.user),
                now=timezone.now(),
            )
        )


class FieldSigns(FieldView):
    """The signs of a work package or of a box, 500 supports a page."""

    @extend_schema(parameters=[AreaSerializer], responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> HttpResponse:
        asked = AreaSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        area, organisation = asked.validated_data, organisation_of(request)
        if "package" in area:
            packages = WorkPackage.objects.owned_by(organisation)
            package = get_object_or_404(packages, pk=area["package"])
            page = supports_of_package(package=package, page=area["page"])
        else:
            box = Box(*(area[edge] for edge in EDGES))
            page = supports_in_box(organisation=organisation, box=box, page=area["page"])
        return _json(carry_page(organisation=organisation, asked=page, now=timezone.now()))


class FieldStock(FieldView):
    """The faces that can be put up, 500 a page."""

    @extend_schema(parameters=[PageSerializer], responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> HttpResponse:
        asked = PageSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        return _json(
            stock_page(
                organisation=organisation_of(request),
                page=asked.validated_data["page"],
                now=timezone.now(),
            )
        )


class SmallPhoto(APIView):
    """A picture of a sign, at most 320 px either way."""

    roles = FIELD_ROLES

    @extend_schema(
        parameters=[OpenApiParameter("photo_id", int, OpenApiParameter.PATH)],
        responses={(200, "image/jpeg"): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, photo_id: int) -> HttpResponse:
        photo = get_object_or_404(Photo.objects.owned_by(organisation_of(request)), pk=photo_id)
        answer = HttpResponse(small_photo(photo), content_type="image/jpeg")
        answer["X-Content-Type-Options"] = "nosniff"
        answer["Cache-Control"] = "private, max-age=86400"
        return answer


def _json(content: object) -> HttpResponse:
    return HttpResponse(orjson.dumps(content), content_type="application/json")
