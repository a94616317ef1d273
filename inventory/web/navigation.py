"""What each role finds in the rail, in the order of a working day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.urls import reverse

from inventory.models import Organisation, Role

if TYPE_CHECKING:
    from inventory.models import Membership

# (url name, words, short words for the phone's bottom bar or "" to keep it in the menu)
ENGINEER = (
    ("overview", "Today", "Today"),
    ("sign-map", "Map and list", "Map"),
    ("due-list", "Due list", "Due"),
    ("order-list", "Orders", "Orders"),
    ("methods", "Methods", ""),
    ("near-me", "Near me", ""),
    ("instrument-list", "Instruments", ""),
    ("import-list", "Imports", ""),
    ("logbook", "Logbook", ""),
    ("rules", "Rules and levels", ""),
    ("help", "Help", ""),
)
CREW = (
    ("near-me", "Near me", "Near me"),
    ("sign-list", "Find a sign", "Find"),
    ("instrument-list", "Instruments", ""),
    ("logbook", "Logbook", "Logbook"),
    ("help", "Help", "Help"),
)
SHOP = (
    ("board", "Board", "Board"),
    ("order-list", "Orders", "Orders"),
    ("press-list", "Presses", "Presses"),
    ("stock-faces", "Stock", "Stock"),
    ("logbook", "Logbook", ""),
    ("help", "Help", ""),
)


@dataclass(frozen=True)
class Entry:
    """One line of the rail."""

    address: str
    words: str
    short_words: str
    is_current: bool


def entries_for(membership: Membership, current_name: str) -> list[Entry]:
    """Return the rail of a role, with the page one is on marked."""
    return [
        Entry(reverse(name), words, short_words, name == current_name)
        for name, words, short_words in _table_for(membership)
    ]


def home_name(membership: Membership) -> str:
    """Return the url name of a role's first page."""
    return _table_for(membership)[0][0]


def _table_for(membership: Membership) -> tuple[tuple[str, str, str], ...]:
    if membership.organisation.kind == Organisation.Kind.SHOP:
        return SHOP
    return CREW if membership.role == Role.CREW else ENGINEER
