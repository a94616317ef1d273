"""Who may ask what: a role in an organisation, as on the pages."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from rest_framework.permissions import BasePermission

from inventory.models import Role
from inventory.services.people import has_role

if TYPE_CHECKING:
    from rest_framework.request import Request
    from rest_framework.views import APIView

    from inventory.models import Membership, Organisation


class HasActiveMembership(BasePermission):
    """Only people with a role; a view's ``roles`` narrows it to some of them."""

    message = "Your role does not allow this; ask as somebody whose role does."

    def has_permission(self, request: Request, view: APIView) -> bool:
        if not request.user.is_authenticated:
            return False
        membership = active_membership(request)
        roles: tuple[Role, ...] = getattr(view, "roles", ())
        return membership is not None and (not roles or has_role(membership, roles))


def active_membership(request: Request) -> Membership | None:
    """Return the role the person acts in; the same for pages and API."""
    return cast("Membership | None", getattr(request, "membership", None))


def organisation_of(request: Request) -> Organisation:
    """Return the organisation the person acts for; the permission made sure there is one."""
    return cast("Membership", active_membership(request)).organisation
