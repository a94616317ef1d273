"""Acting as one of the roles in tests of pages, on a day that does not move."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.models import Role
from tests.factories import NOW, make_person

if TYPE_CHECKING:
    import pytest
    from django.test import Client

    from inventory.models import Organisation, User

PAGE_TIME = NOW + timedelta(hours=2)


def act_as(client: Client, organisation: Organisation, role: str = Role.ENGINEER) -> User:
    """Sign a new person in, in a role of an organisation."""
    user = make_person(organisation, role)
    client.force_login(user)
    return user


def read_reminder(client: Client) -> None:
    """Say that the day's roadside reminder was read."""
    client.post("/crew/before-you-start/", {"next": "/near/"})


def stop_the_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the pages believe it is two hours after the factories' now."""
    monkeypatch.setattr(timezone, "now", lambda: PAGE_TIME)
