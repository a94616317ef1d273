"""The map: where the signs are, with the list beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import orjson
from django import forms
from django.conf import settings
from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from inventory.engineering.places import CELL_LEVEL
from inventory.errors import OutOfRangeError
from inventory.models import Role
from inventory.services.marks import MARKS, mark_of
from inventory.services.people import has_role
from inventory.services.sign_map import Box, extent, road_lines, view_box
from inventory.web.filters import standings_of
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from django.http import QueryDict


class BoxForm(forms.Form):
    """The edges of the part of the map in view, and how close it is."""

    south_deg = forms.FloatField(min_value=-90, max_value=90)
    west_deg = forms.FloatField(min_value=-180, max_value=180)
    north_deg = forms.FloatField(min_value=-90, max_value=90)
    east_deg = forms.FloatField(min_value=-180, max_value=180)
    zoom = forms.IntegerField(min_value=0, max_value=CELL_LEVEL)


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def sign_map(request: MemberRequest) -> HttpResponse:
    chosen, rows = standings_of(request.organisation, request.GET)
    page = page_of(request, rows.select_related("road"))
    context = {
        "filter": chosen,
        "page": page,
        "map": map_settings(extent(rows)),
        "marks": MARKS,
        "can_plan": has_role(request.membership, (Role.ENGINEER,)),
    }
    return render(request, "inventory/places/sign_map.html", context)


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def sign_map_data(request: MemberRequest) -> HttpResponse:
    """Answer with what to draw of the box in view, as JSON."""
    chosen, rows = standings_of(request.organisation, request.GET)
    if not chosen.is_valid():
        raise OutOfRangeError(_first_error(chosen.form))
    box, zoom = read_box(request.GET)
    view = view_box(rows, box, zoom)
    return _json(
        {
            "signs": [_marker(row) for row in view.signs],
            "groups": view.groups,
        }
    )


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def road_data(request: MemberRequest) -> HttpResponse:
    """Answer with the centre lines of the roads, as JSON."""
    return _json({"roads": road_lines(request.organisation)})


def read_box(query: QueryDict) -> tuple[Box, int]:
    """Return the box and the zoom an address names, or say what is wrong with them."""
    form = BoxForm(query)
    if not form.is_valid():
        raise OutOfRangeError(_first_error(form))
    zoom = form.cleaned_data.pop("zoom")
    return Box(**form.cleaned_data), zoom


def map_settings(box: Box | None) -> dict[str, Any]:
    """Return what the map script needs: where to look, where to ask, whose tiles."""
    return {
        "extent": box and [[box.south_deg, box.west_deg], [box.north_deg, box.east_deg]],
        "data_address": reverse("sign-map-data"),
        "road_address": reverse("road-data"),
        "sign_address": reverse("sign-page", args=(0,)),
        "tile_address": settings.MAP_TILE_ADDRESS,
        "tile_credit": settings.MAP_TILE_CREDIT,
    }


def _marker(row: dict[str, Any]) -> dict[str, Any]:
    mark = mark_of(row["verdict"], is_due=row["is_due"], is_due_soon=row["is_due_soon"])
    return {
        "id": row["sign_id"],
        "at": (row["latitude_deg"], row["longitude_deg"]),
        "mark": mark.key,
        "word": mark.word,
        "code": row["sign_code"],
        "name": row["sign_name"],
        "condition": row["condition"],
        "is_due": row["is_due"],
    }


def _json(content: object) -> HttpResponse:
    return HttpResponse(orjson.dumps(content), content_type="application/json")


def _first_error(form: forms.BaseForm) -> str:
    field, problems = next(iter(form.errors.items()))
    return f"{field}: {problems[0]}"
