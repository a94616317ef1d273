"""A work package to take away: as GPX for a device on the way, as GeoJSON for a map."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geojson
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from inventory.interchange.package_files import package_geojson, package_gpx
from inventory.models import PackageStop, Role, WorkPackage
from inventory.services.people import has_role
from inventory.services.work_packages import with_outcome
from inventory.web.membership import MemberRequest, role_required

if TYPE_CHECKING:
    from collections.abc import Sequence

GPX_TYPE, GEOJSON_TYPE = "application/gpx+xml", "application/geo+json"


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def package_as_gpx(request: MemberRequest, package_id: int) -> HttpResponse:
    package, stops = _package_with_stops(request, package_id)
    return _file(package, package_gpx(package, stops), GPX_TYPE, "gpx")


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def package_as_geojson(request: MemberRequest, package_id: int) -> HttpResponse:
    package, stops = _package_with_stops(request, package_id)
    text = geojson.dumps(package_geojson(package, stops), ensure_ascii=False)
    return _file(package, text.encode(), GEOJSON_TYPE, "geojson")


def _package_with_stops(
    request: MemberRequest, package_id: int
) -> tuple[WorkPackage, Sequence[Any]]:
    """Return a package the person may see, and its stops in their order; two queries."""
    rows = WorkPackage.objects.owned_by(request.organisation)
    rows = rows.select_related("team", "organisation")
    if not has_role(request.membership, (Role.ENGINEER,)):
        rows = rows.exclude(state=WorkPackage.State.DRAFT)
    package = get_object_or_404(rows, pk=package_id)
    stops = with_outcome(PackageStop.objects.filter(package=package)).order_by("number")
    return package, list(stops.select_related("position__support__road", "face"))


def _file(package: WorkPackage, content: bytes, kind: str, ending: str) -> HttpResponse:
    name = f"package-{package.pk}-{package.work_on:%Y-%m-%d}.{ending}"
    answer = HttpResponse(content, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
