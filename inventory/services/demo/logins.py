"""The names and the password with which the demo is looked at."""

from __future__ import annotations

from dataclasses import dataclass

from django.conf import settings

from inventory.models import Membership, Role
from inventory.services.demo.words import words


@dataclass(frozen=True, slots=True)
class DemoLogin:
    """One of the three roles, and how to sign in to it."""

    role: str
    username: str
    password: str
    address: str


def demo_logins() -> list[DemoLogin]:
    """Return one login per role, once the scenario is loaded; none on a real site."""
    if not settings.IS_DEMO:
        return []
    data = words("scenario")
    shown = {each["username"]: each["role"] for each in data["people"] if each["is_shown"]}
    known = set(
        Membership.objects.filter(
            user__username__in=shown, organisation__is_invented=True
        ).values_list("user__username", flat=True)
    )
    return [
        DemoLogin(
            role=Role(role).label,
            username=username,
            password=data["logins"]["password"],
            address=f"{settings.SITE_ADDRESS.rstrip('/')}/",
        )
        for username, role in shown.items()
        if username in known
    ]
