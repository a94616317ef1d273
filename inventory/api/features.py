"""Signs for a map of somebody else's, as OGC API – Features would page them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.api.filters import StandingFilter
from inventory.api.permissions import organisation_of
from inventory.interchange.geojson_signs import sign_collection
from inventory.models import Role, Standing
from inventory.services.sign_map import Box, in_box

if TYPE_CHECKING:
    from rest_framework.request import Request

DEFAULT_LIMIT = 100
MAXIMUM_LIMIT = 1000
BOX_LENGTH = 4
LONGEST_OFFSET = 10_000_000


class GeoJSONRenderer(JSONRenderer):
    media_type = "application/geo+json"
    format = "geojson"


class PageSerializer(serializers.Serializer[Any]):
    """Which page of the features, and of which box."""

    limit = serializers.IntegerField(
        default=DEFAULT_LIMIT, min_value=1, max_value=MAXIMUM_LIMIT
    )
    offset = serializers.IntegerField(default=0, min_value=0, max_value=LONGEST_OFFSET)
    bbox = serializers.CharField(
        default="", allow_blank=True, help_text="West, south, east, north in WGS 84 degrees."
    )

    def validate_bbox(self, text: str) -> Box | None:
        if not text:
            return None
        try:
            edges = tuple(float(part) for part in text.split(","))
        except ValueError:
            edges = ()
        if len(edges) != BOX_LENGTH:
            msg = (
                f"'{text}' is not a box; write west, south, east, north in degrees, "
                "separated by commas."
            )
            raise serializers.ValidationError(msg)
        west, south, east, north = edges
        return Box(south, west, north, east)


class SignItems(APIView):
    """Installed signs as a GeoJSON FeatureCollection, a page at a time."""

    roles = (Role.ENGINEER, Role.CREW)
    renderer_classes = (GeoJSONRenderer, JSONRenderer)

    @extend_schema(
        parameters=[
            PageSerializer,
            OpenApiParameter("code", str, description="Code begins with."),
            OpenApiParameter("verdict", str, many=True),
            OpenApiParameter("due", bool),
        ],
        responses={(200, "application/geo+json"): OpenApiTypes.OBJECT},
    )
    def get(self, request: Request) -> Response:
        asked = PageSerializer(data=request.query_params)
        asked.is_valid(raise_exception=True)
        rows = Standing.objects.owned_by(organisation_of(request))
        chosen = StandingFilter(request.query_params, queryset=rows)
        if not chosen.is_valid():
            raise serializers.ValidationError(chosen.errors)
        page = asked.validated_data
        rows = in_box(chosen.qs, page["bbox"]) if page["bbox"] else chosen.qs
        rows = rows.order_by("sign_id")
        count, offset, limit = rows.count(), page["offset"], page["limit"]
        return Response(
            sign_collection(
                rows[offset : offset + limit],
                number_matched=count,
                links=page_links(request, offset, limit, count),
                at=timezone.now(),
            )
        )


def page_links(request: Request, offset: int, limit: int, count: int) -> list[dict[str, str]]:
    """Return where this page, the next and the one before are."""
    links = [_link(request, "self", offset)]
    if offset + limit < count:
        links.append(_link(request, "next", offset + limit))
    if offset > 0:
        links.append(_link(request, "prev", max(0, offset - limit)))
    return links


def _link(request: Request, relation: str, offset: int) -> dict[str, str]:
    query = request.query_params.copy()
    query["offset"] = str(offset)
    return {
        "rel": relation,
        "type": GeoJSONRenderer.media_type,
        "href": request.build_absolute_uri(f"{request.path}?{query.urlencode()}"),
    }
