"""A row of each record of warranty: a term, and a claim that was sent, answered, credited."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.models import (
    ClaimAnswer,
    ClaimCredit,
    ClaimFace,
    ClaimStatement,
    ClaimStep,
    WarrantyClaim,
    WarrantyInitial,
    WarrantyStep,
    WarrantyTerm,
)
from tests.factories import NOW

if TYPE_CHECKING:
    from inventory.models import PrintOrder, Sign

EVIDENCE = {
    "rows": [["sign", "R1-1"]],
    "production": [["sheeting lot", "L"]],
    "conditions": [
        {"key": "upright", "words": "stands upright", "shown": "unknown", "why": "state it"}
    ],
    "figures": {
        "mean_ra_cd_lx_m2": "300",
        "uncertainty_cd_lx_m2": 20.0,
        "promised_ra_cd_lx_m2": "304",
        "initial_ra_cd_lx_m2": "380",
        "retained_share": "0.8",
        "until_years": 7,
        "read_on": "2026-05-01",
        "is_clear": False,
    },
    "photos": [],
}


def fill_warranty(order: PrintOrder, sign: Sign) -> WarrantyClaim:
    """Promise something of a face, claim it, answer and credit it."""
    agency, shop = order.agency, order.shop
    terms = WarrantyTerm.objects.filter(organisation=shop).count()
    term = WarrantyTerm.objects.create(
        organisation=shop,
        name="white sheeting",
        version=terms + 1,
        made_from_on=NOW.date(),
        sheeting_type="XI",
        colouring="sheeting",
        overlay="any",
        starts="fabricated",
        must_be_upright=False,
        initial_basis="table 1",
        supplier_text="80 % for 7 years.",
        entered_at=NOW,
    )
    share = Decimal("0.8")
    WarrantyStep.objects.create(
        term=term, until_years=7, retained_share=share, remedy="a new face"
    )
    WarrantyInitial.objects.create(term=term, color="white", ra_cd_lx_m2=Decimal(380))
    claim: WarrantyClaim = WarrantyClaim.objects.create(
        agency=agency,
        shop=shop,
        number=1,
        state="answered",
        drafted_at=NOW,
        sent_at=NOW,
        answer_due_on=NOW.date(),
    )
    ClaimStep.objects.create(claim=claim, state="sent", made_at=NOW)
    face = ClaimFace.objects.create(
        claim=claim, sign=sign, color="white", term=term, evidence=EVIDENCE
    )
    ClaimStatement.objects.create(
        claim=claim, condition="upright", is_met=True, words="a level", stated_at=NOW
    )
    ClaimAnswer.objects.create(face=face, is_accepted=True, answered_at=NOW)
    ClaimCredit.objects.create(
        claim=claim,
        line=order.lines.order_by("number")[0],
        face_count=1,
        words="a new face",
        credited_at=NOW,
    )
    return claim
