"""What invented suppliers promise of the scenario's faces, and one claim made on it."""

from __future__ import annotations

from collections import defaultdict
from datetime import timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.engineering.production.warranty import PromiseStep
from inventory.models import WarrantyClaim, WarrantyTerm
from inventory.services.demo.words import words
from inventory.services.warranty.candidates import find_candidates
from inventory.services.warranty.claims import draft_claim, send_claim
from inventory.services.warranty.terms import TermContent, enter_term

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Organisation, User

MOST_CLAIMED = 20


def enter_terms(shop: Organisation, *, by: User, now: datetime) -> int:
    """Enter the scenario's terms once; return how many were entered."""
    if WarrantyTerm.objects.owned_by(shop).exists():
        return 0
    data = words("warranty")
    for each in data["terms"]:
        said = dict(each)
        steps = [
            PromiseStep(years, Decimal(share), remedy)
            for years, share, remedy in said.pop("steps")
        ]
        initials = {color: Decimal(value) for color, value in said.pop("initials").items()}
        content = TermContent(
            **said,
            steps=steps,
            initials=initials,
            initial_basis=data["text"]["basis"],
            supplier_text=data["text"]["supplier"],
        )
        enter_term(shop=shop, content=content, by=by, now=now)
    return len(data["terms"])


def make_claim(agency: Organisation, *, by: User, now: datetime) -> WarrantyClaim | None:
    """Claim once what falls short of the lot with the most such faces; ``None``: none."""
    if WarrantyClaim.objects.owned_by(agency).exists():
        return None
    by_lot: dict[str, list[tuple[int, str]]] = defaultdict(list)
    for each in find_candidates(agency, now=now).candidates:
        if each.lot and not each.failed:
            by_lot[each.lot].append((each.sign.pk, each.color))
    if not by_lot:
        return None
    lot = max(by_lot, key=lambda name: (len(by_lot[name]), name))
    data = words("warranty")
    claim = draft_claim(
        agency=agency, faces=by_lot[lot][:MOST_CLAIMED], note=data["note"], by=by, now=now
    )
    due_on = agency.day_of(now) + timedelta(days=data["answer_days"])
    return send_claim(claim=claim, answer_due_on=due_on, by=by, now=now)
