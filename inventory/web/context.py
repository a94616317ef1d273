"""What every page shows around its own content."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.conf import settings

from inventory.web.navigation import entries_for

if TYPE_CHECKING:
    from django.http import HttpRequest

PHONE_BAR_LENGTH = 4


def site(request: HttpRequest) -> dict[str, Any]:
    """Return the rail, the roles the person can act in, and whether this is the demo."""
    membership = getattr(request, "membership", None)
    if membership is None:
        return {"is_demo": settings.IS_DEMO, "membership": None, "rail": ()}
    name = request.resolver_match.url_name if request.resolver_match else ""
    rail = entries_for(membership, name or "")
    return {
        "is_demo": settings.IS_DEMO,
        "membership": membership,
        "rail": rail,
        "phone_bar": [entry for entry in rail if entry.short_words][:PHONE_BAR_LENGTH],
        "other_memberships": [
            other for other in getattr(request, "memberships", ()) if other != membership
        ],
    }
