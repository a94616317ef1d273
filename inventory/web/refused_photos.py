"""Photos from phones that were refused: looked at, kept with a sign, or set aside."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST, require_safe

from inventory.errors import InventoryError
from inventory.models import PhotoUpload, Role, Sign
from inventory.services.photo_uploads import (
    keep_with_sign,
    refused_content,
    refused_photos,
    set_aside,
)
from inventory.web.errors import status_of
from inventory.web.exchange import phone_tabs
from inventory.web.membership import MemberRequest, role_required
from inventory.web.paging import page_of

if TYPE_CHECKING:
    from typing import Any

ROWS_PER_PAGE = 25


@require_safe
@role_required(Role.ENGINEER)
def refused_list(request: MemberRequest) -> HttpResponse:
    return _show(request)


@require_POST
@role_required(Role.ENGINEER)
def settle(request: MemberRequest, upload_id: int) -> HttpResponse:
    """Keep a photo with the sign of a number, or set it aside with a reason."""
    upload = _upload(request, upload_id)
    number = request.POST.get("sign", "").strip()
    try:
        if "keep" in request.POST:
            keep_with_sign(upload=upload, sign=_sign(request, number), by=request.user)
            messages.success(request, f"The photo is kept with sign {number}.")
        else:
            set_aside(upload=upload, reason=request.POST.get("reason", ""), by=request.user)
            messages.success(request, "Set aside; what was sent is kept.")
    except InventoryError as error:
        typed = {"upload_id": upload_id, "typed": request.POST, "refusal": str(error)}
        return _show(request, status=status_of(error), **typed)
    except Http404:
        typed = {"upload_id": upload_id, "typed": request.POST}
        sentence = f"There is no sign '{number}' among yours; type the number of its page."
        return _show(request, status=404, refusal=sentence, **typed)
    return redirect("refused-photos")


@require_safe
@role_required(Role.ENGINEER)
def content(request: MemberRequest, upload_id: int) -> HttpResponse:
    """Send what came of a photo as a file to keep; a browser never shows it as a picture."""
    sent = refused_content(_upload(request, upload_id))
    if sent is None:
        raise Http404
    answer = HttpResponse(sent, content_type="application/octet-stream")
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Disposition"] = f'attachment; filename="refused-photo-{upload_id}.bin"'
    return answer


def _show(request: MemberRequest, status: int = 200, **more: Any) -> HttpResponse:
    context = {
        "tabs": phone_tabs(request.organisation, "refused-photos"),
        "page": page_of(request, refused_photos(request.organisation), ROWS_PER_PAGE),
        **more,
    }
    return render(request, "inventory/exchange/refused_photos.html", context, status=status)


def _upload(request: MemberRequest, upload_id: int) -> PhotoUpload:
    rows = PhotoUpload.objects.owned_by(request.organisation)
    found: PhotoUpload = get_object_or_404(rows, pk=upload_id)
    return found


def _sign(request: MemberRequest, number: str) -> Sign:
    if not number.isdecimal():
        raise Http404
    signs = Sign.objects.owned_by(request.organisation).select_related("owner")
    found: Sign = get_object_or_404(signs, pk=int(number))
    return found
