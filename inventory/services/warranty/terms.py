"""What suppliers promise, as the shop enters it; a change is a new version."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Max
from django.utils import timezone

from inventory.engineering.production.stock_life import MONTHS_PER_YEAR
from inventory.engineering.production.warranty import LONGEST_YEARS, PromiseStep, check_steps
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import NotPermittedError, OutOfRangeError
from inventory.models import (
    ColourArea,
    Organisation,
    WarrantyInitial,
    WarrantyStep,
    WarrantyTerm,
)
from inventory.services.logbook import log

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import User

MOST_LETTERS = 40_000
LARGEST_RA = Decimal(2000)
SHEETING_TYPES = ("I", "II", "III", "IV", "V", "VI", "VIII", "IX", "XI")


@dataclass(frozen=True)
class TermContent:
    """
    What a term says.

    ``initials`` are the initial values by colour in cd/lx/m²; ``storage_months`` runs from the
    receipt of the sheeting to the making of the face, ``None``: no limit.
    """

    name: str
    made_from_on: date
    sheeting_type: str
    colouring: str
    overlay: str
    starts: str
    initials: dict[str, Decimal]
    initial_basis: str
    supplier_text: str
    steps: list[PromiseStep] = field(default_factory=list)
    must_be_upright: bool = False
    storage_months: int | None = None
    matched_components: str = ""


@transaction.atomic
def enter_term(
    *,
    shop: Organisation,
    content: TermContent,
    by: User | None = None,
    now: datetime | None = None,
) -> WarrantyTerm:
    """
    Enter a term, or another version of the one of this name, with the supplier's text.

    Of the versions of a name the newest holds that begins on or before the day a face was made.
    """
    now = now or timezone.now()
    if shop.kind != Organisation.Kind.SHOP:
        msg = f"{shop} is no sign shop; the shop that makes the faces enters their warranty."
        raise NotPermittedError(msg)
    _check(content)
    Organisation.objects.select_for_update(no_key=True).get(pk=shop.pk)
    name = content.name.strip()
    of_name = WarrantyTerm.objects.owned_by(shop).filter(name=name)
    term: WarrantyTerm = WarrantyTerm.objects.create(
        organisation=shop,
        name=name,
        version=(of_name.aggregate(last=Max("version"))["last"] or 0) + 1,
        made_from_on=content.made_from_on,
        sheeting_type=content.sheeting_type,
        colouring=content.colouring,
        overlay=content.overlay,
        starts=content.starts,
        must_be_upright=content.must_be_upright,
        storage_months=content.storage_months,
        matched_components=content.matched_components.strip(),
        initial_basis=content.initial_basis.strip(),
        supplier_text=content.supplier_text.strip(),
        entered_at=now,
        entered_by=by,
    )
    WarrantyStep.objects.bulk_create(
        WarrantyStep(
            term=term,
            until_years=step.until_years,
            retained_share=step.retained_share,
            remedy=step.remedy.strip(),
        )
        for step in content.steps
    )
    WarrantyInitial.objects.bulk_create(
        WarrantyInitial(term=term, color=color, ra_cd_lx_m2=value)
        for color, value in content.initials.items()
    )
    log(
        organisation=shop,
        actor=by,
        verb="enter warranty",
        text=f"Warranty {term} entered, for faces made from {term.made_from_on:%Y-%m-%d} on.",
        at=now,
    )
    return term


def steps_of(term: WarrantyTerm) -> list[PromiseStep]:
    """Return the steps of a term as the method takes them, in the order of years."""
    return [
        PromiseStep(each.until_years, each.retained_share, each.remedy)
        for each in sorted(term.steps.all(), key=lambda step: step.until_years)
    ]


def _check(content: TermContent) -> None:
    if not content.name.strip():
        msg = "Give the term a name, such as the sheeting and what is printed on it."
        raise OutOfRangeError(msg)
    if content.sheeting_type not in SHEETING_TYPES:
        msg = (
            f"'{content.sheeting_type}' is no sheeting type of ASTM D4956; take one of "
            f"{', '.join(SHEETING_TYPES)}."
        )
        raise OutOfRangeError(msg)
    _one_of(content.colouring, set(ColourArea.Colouring.values) - {"", "opaque"}, "colouring")
    _one_of(content.overlay, set(WarrantyTerm.Overlay.values), "overlay")
    _one_of(content.starts, set(WarrantyTerm.Start.values), "start")
    check_steps(content.steps)
    if not content.initials:
        msg = "Type the initial value of at least one colour; a colour without one has none."
        raise OutOfRangeError(msg)
    for color, value in content.initials.items():
        Color(color)
        if not (value.is_finite() and 0 < value <= LARGEST_RA and value == round(value, 3)):
            msg = (
                f"The initial value {value} of {color} is not over 0 and up to {LARGEST_RA} "
                "cd/lx/m² with three decimals at most."
            )
            raise OutOfRangeError(msg)
    if not content.initial_basis.strip():
        msg = "Say what the initial values are, as the supplier's text names them."
        raise OutOfRangeError(msg)
    if not 0 < len(content.supplier_text.strip()) <= MOST_LETTERS:
        msg = (
            "Enter the supplier's own text, word for word, in up to "
            f"{MOST_LETTERS:,} letters; it has {len(content.supplier_text.strip()):,}."
        )
        raise OutOfRangeError(msg)
    months = content.storage_months
    if months is not None and not 0 < months <= LONGEST_YEARS * MONTHS_PER_YEAR:
        msg = (
            f"A storage limit of {months} months: type 1 to "
            f"{LONGEST_YEARS * MONTHS_PER_YEAR}, or leave it out."
        )
        raise OutOfRangeError(msg)


def _one_of(value: str, known: set[str], what: str) -> None:
    if value not in known:
        msg = f"'{value}' is no {what} a term can have: {', '.join(sorted(known))}."
        raise OutOfRangeError(msg)
