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
    ("damage-list", "Damage now", ""),
    ("sign-map", "Map and list", "Map"),
    ("due-list", "Due list", "Due"),
    ("due-dates", "Due dates", ""),
    ("programme-list", "Programme", ""),
    ("package-list", "Work packages", ""),
    ("crew-list", "Crews", ""),
    ("from-phones", "From the phones", ""),
    ("order-list", "Orders", "Orders"),
    ("warranty", "Warranty", ""),
    ("methods", "Methods", ""),
    ("field", "Field app", ""),
    ("near-me", "Near me", ""),
    ("instrument-list", "Instruments", ""),
    ("import-list", "Imports", ""),
    ("logbook", "Logbook", ""),
    ("rules", "Rules and levels", ""),
    ("help", "Help", ""),
)
CREW = (
    ("field", "Field app", "Field app"),
    ("near-me", "Near me", "Near me"),
    ("damage-list", "Damage now", ""),
    ("package-list", "Work packages", "Packages"),
    ("sign-list", "Find a sign", ""),
    ("instrument-list", "Instruments", ""),
    ("logbook", "Logbook", ""),
    ("help", "Help", "Help"),
)
SHOP = (
    ("board", "Board", "Board"),
    ("order-list", "Orders", "Orders"),
    ("press-list", "Presses", "Presses"),
    ("stock-faces", "Stock", "Stock"),
    ("lot-list", "Lots", ""),
    ("claim-list", "Warranty", ""),
    ("logbook", "Logbook", ""),
    ("help", "Help", ""),
)

# The pages under a line of the rail; a page under two is marked at the one the role has.
PAGES_UNDER = {
    "sign-map": ("sign-list", "sign-page", "decide", "same-sign"),
    "from-phones": (
        "phone-entry",
        "refused-photos",
        "refused-photo-settle",
        "refused-list",
        "refused-settle",
        "wrong-data",
        "wrong-data-settle",
        "added-signs",
        "phone-list",
        "phone-page",
        "merge-list",
        "merge-signs",
        "merge-supports",
        "undo-sign-merge",
        "undo-support-merge",
    ),
    "sign-list": ("sign-page", "sign-map"),
    "damage-list": (
        "damage-new",
        "damage-page",
        "damage-times",
        "damage-correct",
        "damage-close",
        "damage-reopen",
        "damage-package",
    ),
    "due-dates": (
        "cohort-list",
        "cohort-page",
        "lot-list",
        "lot-page",
        "to-measure",
        "lives",
        "set-expected-life",
        "losses",
        "control-signs",
        "add-control-signs",
        "back-test",
    ),
    "programme-list": (
        "programme-new",
        "programme-step",
        "programme-choice",
        "programme-page",
        "programme-year",
        "programme-compare",
        "programme-report",
        "programme-order",
        "work-basis",
        "crew-days",
        "crew-days-plan",
        "crew-days-step",
        "crew-days-left",
        "crew-day-page",
    ),
    "crew-list": ("crew-new", "crew-page", "crew-step"),
    "lot-list": ("lot-page",),
    "warranty": (
        "warranty-lot",
        "warranty-terms",
        "warranty-term",
        "claim-list",
        "claim-page",
        "claim-do",
    ),
    "claim-list": (
        "warranty-terms",
        "warranty-term",
        "warranty-term-add",
        "claim-page",
        "claim-do",
    ),
    "order-list": (
        "selection-order",
        "hand-over-line",
        "order-page",
        "order-release",
        "order-amend",
        "order-cancel",
        "order-line-add",
        "order-line",
        "order-line-change",
        "order-line-remove",
        "order-run",
        "line-proofs",
        "order-accept",
        "build-list",
        "build-add",
        "build-set",
        "order-ask",
        "order-answer",
        "order-ship",
        "shipment-page",
        "shipment-receive",
        "layout-list",
        "layout-new",
        "layout-page",
        "layout-again",
        "layout-faces",
        "layout-freeze",
        "layout-open",
        "layout-drop",
        "layout-run",
    ),
    "methods": (
        "decisions",
        "method-record",
        "method-group",
        "method-signs",
        "method-controls",
        "method-step",
        "method-end",
    ),
    "near-me": (
        "road-safety",
        "crew-sign",
        "record-readings",
        "report-damage",
        "record-night-visual",
        "remove-face",
        "install-face",
        "add-work",
    ),
    "instrument-list": (
        "instrument-register",
        "instrument-page",
        "instrument-check",
        "instrument-certificate",
        "instrument-tolerance",
        "instrument-retire",
        "instrument-bring-back",
        "readings-to-settle",
    ),
    "package-list": (
        "package-new",
        "package-page",
        "package-order",
        "package-print",
        "package-change",
        "package-step",
        "package-stop",
        "stop-result",
    ),
    "import-list": ("import-page", "settle"),
    "rules": ("next-rules", "set-own-level"),
    "press-list": (
        "press-add",
        "press-page",
        "press-event",
        "press-measures",
        "press-channel-add",
        "press-channel",
        "press-task-add",
        "press-task",
        "press-set-up",
        "run-page",
        "run-labels",
        "run-checks",
        "face-check",
        "run-steps",
        "face-steps",
        "step-list",
        "step-add",
        "step-set",
    ),
    "stock-faces": (
        "stock-rolls",
        "stock-overlays",
        "roll-receive",
        "overlay-receive",
        "face-spoilt",
        "stock-inks",
        "stock-ink-receive",
        "stock-shelf-lives",
        "stock-days",
        "stock-blanks",
        "blank-page",
        "face-losses",
        "shop-prices",
        "thickness-rule",
        "turns-list",
        "turns-set",
        "label-list",
        "label-sheet-add",
        "label-batch",
    ),
}


@dataclass(frozen=True)
class Entry:
    """One line of the rail; ``current`` is 'page', 'true' for a page under it, or nothing."""

    address: str
    words: str
    short_words: str
    current: str


def entries_for(membership: Membership, current_name: str) -> list[Entry]:
    """Return the rail of a role, with the page one is on, or the line it is under, marked."""
    table = _table_for(membership)
    names = [name for name, _words, _short_words in table]
    current = _line_of(names, current_name)
    mark = "page" if current == current_name else "true"
    return [
        Entry(reverse(name), words, short_words, mark if name == current else "")
        for name, words, short_words in table
    ]


def _line_of(names: list[str], page_name: str) -> str:
    """Return the line of the rail a page stands under; empty where a role has none for it."""
    if page_name in names:
        return page_name
    return next((name for name in names if page_name in PAGES_UNDER.get(name, ())), "")


def home_name(membership: Membership) -> str:
    """Return the url name of a role's first page."""
    return _table_for(membership)[0][0]


def _table_for(membership: Membership) -> tuple[tuple[str, str, str], ...]:
    if membership.organisation.kind == Organisation.Kind.SHOP:
        return SHOP
    return CREW if membership.role == Role.CREW else ENGINEER
