"""The list of signs, the page of one sign, and its photos."""

from __future__ import annotations

import mimetypes
from typing import TYPE_CHECKING

from django.http import FileResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.models import Organisation, Photo, Role, Sign
from inventory.services.forecast.sign_outlook import outlook_of
from inventory.services.forecast.suspects import suspect_lots_of
from inventory.services.people import has_role
from inventory.services.production import production_record
from inventory.services.programme.planned import planned_of
from inventory.services.sign_faces import local_types_of, looks_of_sign
from inventory.services.sign_map import Box
from inventory.services.sign_record import sign_record
from inventory.services.warranty.of_sign import warranty_of_sign
from inventory.web.disposition_form import DispositionForm
from inventory.web.filters import standings_of
from inventory.web.lot_plots import FindingWords
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of
from inventory.web.places import map_settings
from inventory.web.sign_answer import answer, open_damage_of
from inventory.web.sign_forecast import sign_part
from inventory.web.timeline import timeline

if TYPE_CHECKING:
    from django.http import HttpResponse, HttpResponseBase

NEARBY_DEG = 0.0012  # about 130 m: what the small map shows around a sign


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def sign_list(request: MemberRequest) -> HttpResponse:
    chosen, rows = standings_of(request.organisation, request.GET)
    page = page_of(request, rows.select_related("road"))
    context = {
        "filter": chosen,
        "page": page,
        "can_plan": has_role(request.membership, (Role.ENGINEER,)),
    }
    return render(request, "inventory/signs/sign_list.html", context)


@require_safe
@role_required(Role.ENGINEER, Role.CREW)
def sign_page(request: MemberRequest, sign_id: int) -> HttpResponse:
    signs = Sign.objects.owned_by(request.organisation).select_related(
        "position__support__road", "position__parent", "maker", "owner", "panel", "print_run"
    )
    sign = get_object_or_404(signs.prefetch_related("colour_areas"), pk=sign_id)
    record = sign_record(sign=sign, organisation=request.organisation)
    local_types = local_types_of(request.organisation)
    context = {
        "record": record,
        "sign": sign,
        "looks": looks_of_sign(sign, local_types),
        "answer": answer(record),
        "outlook": sign_part(record, outlook_of(sign=sign, organisation=request.organisation)),
        "planned": planned_of(sign=sign, organisation=request.organisation),
        "timeline": timeline(record, timezone.get_current_timezone()),
        "damage": open_damage_of(record),
        "local_types": local_types,
        "map": map_settings(_around(sign)),
        "production": production_record(sign),
        "suspect_lots": [
            FindingWords(each)
            for each in suspect_lots_of(sign=sign, organisation=request.organisation)
        ],
        "warranty": warranty_of_sign(agency=request.organisation, sign=sign, now=timezone.now())
        if has_role(request.membership, (Role.ENGINEER,))
        else None,
        "shops": Organisation.objects.filter(customers__agency=request.organisation),
        "can_decide": sign.state == Sign.State.INSTALLED
        and has_role(request.membership, (Role.ENGINEER,)),
        "can_settle": has_role(request.membership, (Role.ENGINEER,)),
        "decision_form": DispositionForm(),
    }
    return render(request, "inventory/signs/sign_page.html", context)


@require_safe
@role_required()
def sign_photo(request: MemberRequest, photo_id: int) -> HttpResponseBase:
    """Send a photo to those who may see its sign; never from an open folder."""
    photo = get_object_or_404(Photo.objects.readable_by(request.organisation), pk=photo_id)
    kind, _encoding = mimetypes.guess_type(photo.image.name)
    answer_ = FileResponse(photo.image.open("rb"), content_type=kind or "image/jpeg")
    answer_["X-Content-Type-Options"] = "nosniff"
    answer_["Cache-Control"] = "private, max-age=86400"
    answer_["Content-Disposition"] = "inline"
    return answer_


def _around(sign: Sign) -> Box | None:
    if sign.position is None:
        return None
    support = sign.position.support
    return Box(
        support.latitude_deg - NEARBY_DEG,
        support.longitude_deg - NEARBY_DEG,
        support.latitude_deg + NEARBY_DEG,
        support.longitude_deg + NEARBY_DEG,
    )
