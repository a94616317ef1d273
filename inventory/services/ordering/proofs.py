"""Proofs of legends of their own: sent, approved or sent back; none is laid out before."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from django.core.files.base import ContentFile
from django.db import IntegrityError, transaction
from django.db.models import Max
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import OrderLine, Proof, ProofDecision
from inventory.services.ordering.life import UNDER_WAY, log_for_both
from inventory.services.ordering.lines import lock_order

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from inventory.models import User

MOST_BYTES = 20_000_000
MOST_LETTERS = 2_000
MOST_LEGEND = 255
KINDS = {b"%PDF": ".pdf", b"\x89PNG": ".png", b"\xff\xd8\xff": ".jpg"}


@transaction.atomic
def send_proof(
    *,
    line: OrderLine,
    content: bytes,
    file_name: str,
    legend_text: str,
    note: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> Proof:
    """
    Send the agency a picture of what will be printed, with the legend it spells out.

    A proof sent later takes the place of one that is not decided or was sent back.
    """
    now = now or timezone.now()
    order = lock_order(line.order)
    if order.state not in UNDER_WAY:
        msg = f"Order {order.number} is {order.get_state_display()}; no proof is sent for it."
        raise StateConflictError(msg)
    if not line.is_custom_legend:
        msg = f"Line {line.number} has the standard's own legend; it needs no proof."
        raise StateConflictError(msg)
    suffix = next((kind for head, kind in KINDS.items() if content.startswith(head)), None)
    if suffix is None or len(content) > MOST_BYTES:
        msg = (
            f"The proof '{file_name[:80]}' ({len(content) / 1_000_000:.1f} MB) is no PDF, PNG "
            f"or JPEG file of up to {MOST_BYTES // 1_000_000} MB; send it as one of these."
        )
        raise OutOfRangeError(msg)
    legend = legend_text.strip()
    if not 0 < len(legend) <= MOST_LEGEND:
        msg = (
            "Type the legend as the proof spells it, letter for letter, in up to "
            f"{MOST_LEGEND} letters; it has {len(legend)}."
        )
        raise OutOfRangeError(msg)
    number = (line.proofs.aggregate(last=Max("number"))["last"] or 0) + 1
    proof = Proof(
        line=line,
        number=number,
        file_name=file_name.strip()[:120] or f"proof{suffix}",
        sha256=hashlib.sha256(content).hexdigest(),
        legend_text=legend,
        note=note.strip()[:255],
        sent_at=now,
        sent_by=by,
    )
    proof.file.save(f"{order.pk}-{line.number}-{number}{suffix}", ContentFile(content), False)
    proof.save()
    log_for_both(
        order,
        by,
        "send proof",
        f"proof {number} of line {line.number} sent: “{legend}” ({proof.sha256[:12]}).",
        now,
    )
    return proof


@transaction.atomic
def decide_proof(
    *,
    proof: Proof,
    is_approved: bool,
    words: str = "",
    by: User | None = None,
    now: datetime | None = None,
) -> ProofDecision:
    """Approve a proof, or send it back with what is wrong; only the newest, and once."""
    now = now or timezone.now()
    line = proof.line
    order = lock_order(line.order)
    if order.state not in UNDER_WAY:
        msg = f"Order {order.number} is {order.get_state_display()}; its proofs stay as is."
        raise StateConflictError(msg)
    newest = line.proofs.order_by("-number").first()
    if newest is None or newest.pk != proof.pk:
        msg = f"Proof {proof.number} was replaced by a newer one meanwhile; look at that one."
        raise StateConflictError(msg)
    told = words.strip()
    if len(told) > MOST_LETTERS or not (is_approved or told):
        msg = f"Say what is wrong with the proof, in up to {MOST_LETTERS:,} letters."
        raise OutOfRangeError(msg)
    try:
        with transaction.atomic():
            decision: ProofDecision = ProofDecision.objects.create(
                proof=proof, is_approved=is_approved, words=told, decided_at=now, decided_by=by
            )
    except IntegrityError as error:
        msg = f"Proof {proof.number} is decided already; the shop sends another if need be."
        raise StateConflictError(msg) from error
    done = "approved" if is_approved else f"sent back: {told}"
    log_for_both(
        order, by, "decide proof", f"proof {proof.number} of line {line.number} {done}.", now
    )
    return decision


def why_not_made(lines: Iterable[OrderLine]) -> dict[int, str]:
    """
    Return why lines may not be laid out yet, by the line's key; those that may are not in it.

    A legend of its own needs a proof whose approval is the newest word on it, and whose legend
    is that of the line where the line has one. Two queries, however many lines.
    """
    custom = {line.pk: line for line in lines if line.is_custom_legend}
    newest: dict[int, Proof] = {}
    for proof in (
        Proof.objects.filter(line__in=custom).select_related("decision").order_by("number")
    ):
        newest[proof.line_id] = proof
    why = {}
    for key, line in custom.items():
        sentence = _why_not(line, newest.get(key))
        if sentence:
            why[key] = sentence
    return why


def _why_not(line: OrderLine, proof: Proof | None) -> str:
    named = f"Line {line.number} ({line})"
    if proof is None:
        return f"{named} has a legend of its own; send a proof, and wait until it is approved."
    decision = getattr(proof, "decision", None)
    if decision is None:
        return f"Proof {proof.number} of {named[0].lower()}{named[1:]} is not approved yet."
    if not decision.is_approved:
        return f"Proof {proof.number} of {named[0].lower()}{named[1:]} was sent back."
    if line.legend_text.strip() and proof.legend_text != line.legend_text.strip():
        return (
            f"{named} asks for “{line.legend_text}”, and the approved proof says "
            f"“{proof.legend_text}”; send a proof of what the line asks for."
        )
    return ""
