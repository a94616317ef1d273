"""Who asks: the person, and the role in one organisation they act in now."""

from __future__ import annotations

from functools import wraps
from typing import TYPE_CHECKING, Any, Protocol, cast

from django.contrib.auth.decorators import login_required
from django.http import HttpRequest
from django.utils import timezone

from inventory.errors import NotPermittedError
from inventory.models import Membership, Organisation, Role, User
from inventory.services.people import has_role

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpResponseBase

SESSION_KEY = "membership_id"


class MemberRequest(HttpRequest):
    """A request of a person who acts in a role of an organisation."""

    user: User
    memberships: list[Membership]
    membership: Membership
    organisation: Organisation


class MemberView(Protocol):
    def __call__(
        self, request: MemberRequest, /, *args: Any, **kwargs: Any
    ) -> HttpResponseBase: ...


class ActiveMembershipMiddleware:
    """Puts ``membership`` and ``organisation`` on each request; ``None`` when there is none."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        asked = cast("MemberRequest", request)
        user = request.user
        asked.memberships = memberships_of(user) if user.is_authenticated else []
        chosen = request.session.get(SESSION_KEY)
        membership = next(
            (m for m in asked.memberships if m.pk == chosen),
            asked.memberships[0] if asked.memberships else None,
        )
        # Without a role nothing but signing in is reachable; see role_required.
        organisation = membership.organisation if membership else None
        asked.membership = cast("Membership", membership)
        asked.organisation = cast("Organisation", organisation)
        # Pages show the organisation's own time; everything is stored in UTC.
        with timezone.override(organisation.time_zone if organisation else None):
            return self.get_response(request)


def memberships_of(user: User) -> list[Membership]:
    """Return every role the person has, with its organisation."""
    return list(
        Membership.objects.filter(user=user)
        .select_related("organisation", "user")
        .order_by("organisation__name", "role", "pk")
    )


def role_required(*roles: Role) -> Callable[[MemberView], Callable[..., HttpResponseBase]]:
    """Let only these roles in; without roles, anybody who has one. Others read why."""

    def decorate(view: MemberView) -> Callable[..., HttpResponseBase]:
        @login_required
        @wraps(view)
        def wrapped(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            asked = cast("MemberRequest", request)
            membership = cast("Membership | None", asked.membership)
            if membership is None:
                msg = (
                    "You are signed in, but nobody has given you a role yet; ask your "
                    "administrator to add you to your agency or shop."
                )
                raise NotPermittedError(msg)
            if roles and not has_role(membership, roles):
                allowed = " or ".join(role.label for role in roles)
                msg = (
                    f"This page is for the {allowed}; you are acting as "
                    f"{membership.get_role_display()} at {membership.organisation}."
                )
                raise NotPermittedError(msg)
            return view(asked, *args, **kwargs)

        return wrapped

    return decorate
