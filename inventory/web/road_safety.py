"""The reminder that comes before the first roadside action of a day."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Any

from django.http import HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme, urlencode
from django.views.decorators.http import require_http_methods

from inventory.models import Role
from inventory.web.membership import MemberRequest, role_required

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponse, HttpResponseBase

SESSION_KEY = "road_safety_read_on"


def after_safety_reminder(
    view: Callable[..., HttpResponseBase],
) -> Callable[..., HttpResponseBase]:
    """Show the reminder before the day's first action; what was typed is never sent astray."""

    @wraps(view)
    def wrapped(request: MemberRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        is_read = request.session.get(SESSION_KEY) == timezone.localdate().isoformat()
        if request.method != "POST" and not is_read:
            query = urlencode({"next": request.get_full_path()})
            return HttpResponseRedirect(f"{reverse('road-safety')}?{query}")
        return view(request, *args, **kwargs)

    return wrapped


@require_http_methods(["GET", "HEAD", "POST"])
@role_required(Role.CREW, Role.ENGINEER)
def road_safety(request: MemberRequest) -> HttpResponse:
    onward = own_address(request, request.POST.get("next") or request.GET.get("next", ""))
    if request.method == "POST":
        request.session[SESSION_KEY] = timezone.localdate().isoformat()
        return redirect(onward)
    return render(request, "inventory/crew/road_safety.html", {"next": onward})


def own_address(request: MemberRequest, wanted: str) -> str:
    """Return an address of this site; anything else becomes the crew's first page."""
    if url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    ):
        return wanted
    return reverse("near-me")
