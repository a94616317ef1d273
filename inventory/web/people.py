"""Signing in and out, and choosing the role to act in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.contrib.auth import views as auth_views
from django.http import Http404
from django.shortcuts import redirect
from django.views.decorators.http import require_POST, require_safe

from inventory.services.demo import demo_logins
from inventory.web.membership import SESSION_KEY, role_required
from inventory.web.navigation import home_name

if TYPE_CHECKING:
    from django.http import HttpResponse

    from inventory.web.membership import MemberRequest


class SignIn(auth_views.LoginView):
    template_name = "inventory/people/sign_in.html"
    redirect_authenticated_user = True

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(**kwargs) | {"demo_logins": demo_logins()}


class SignOut(auth_views.LogoutView):
    """Only by POST, so that no link or picture can sign a person out."""


@require_safe
@role_required()
def home(request: MemberRequest) -> HttpResponse:
    return redirect(home_name(request.membership))


@require_POST
@role_required()
def switch_role(request: MemberRequest) -> HttpResponse:
    wanted = request.POST.get("membership", "")
    for membership in request.memberships:
        if str(membership.pk) == wanted:
            request.session[SESSION_KEY] = membership.pk
            return redirect("home")
    msg = "That role is not one of yours."
    raise Http404(msg)
