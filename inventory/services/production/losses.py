"""Faces lost before they were the agency's: where, why, and the sheeting lost with them."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.db.models import F, Q

from inventory.models import FaceCheck, FaceReceipt, LogbookEntry, Sign
from inventory.services.production.quality import area_lost_ft2, faults_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import date

    from inventory.models import OrderLine, Organisation

AT_THE_PRESS = "at the press or a step after it"
AT_THE_CHECK = "at the check"
ON_THE_WAY = "on the way"
MOST_MONTHS = 12


@dataclass(frozen=True)
class Loss:
    """
    One face that was lost, where and why.

    ``area_ft2`` is its rectangle's sheeting; ``None``: its size is not known.
    """

    sign: Sign
    where: str
    why: str
    note: str
    area_ft2: float | None

    @property
    def lost_on(self) -> date | None:
        """Return the day, in the shop's calendar."""
        return self.sign.removed_on

    @property
    def line(self) -> OrderLine | None:
        """Return the order line it was printed for, if it was printed for one."""
        face = getattr(self.sign, "layout_face", None)
        return None if face is None else face.line


@dataclass(frozen=True)
class LossSum:
    """Losses added up; ``unknown`` of the faces have no size on record and add no area."""

    names: tuple[str, ...]
    faces: int
    area_ft2: float
    unknown: int


@dataclass(frozen=True)
class LossSums:
    """A shop's losses by month, newest first, and by where and why, the most sheeting first."""

    total: LossSum
    months: tuple[LossSum, ...]
    reasons: tuple[LossSum, ...]


def losses_of(shop: Organisation) -> list[Loss]:
    """
    Return every face a shop lost before it was the agency's, newest first, in three queries.

    A face is lost where it was taken out of stock and never put up. Where: by the check it
    did not pass, by the receipt that calls it broken or missing, else in the shop. Faces
    recorded twice were none.
    """
    signs = (
        Sign.objects.filter(maker=shop, state=Sign.State.REMOVED, installed_on__isnull=True)
        .filter(Q(owner__isnull=True) | Q(shipment_face__receipt__outcome__in=_LOST))
        .exclude(removal_reason=Sign.RemovalReason.DUPLICATE)
        .select_related("layout_face__line__order", "print_run")
        .order_by(F("removed_on").desc(nulls_last=True), "-pk")
    )
    checks = {
        check.sign_id: check
        for check in FaceCheck.objects.owned_by(shop)
        .filter(is_passed=False)
        .order_by("checked_at", "pk")
    }
    receipts = {
        receipt.face.sign_id: receipt
        for receipt in FaceReceipt.objects.filter(
            face__sign__maker=shop, outcome__in=_LOST
        ).select_related("face")
    }
    return [_loss(sign, checks.get(sign.pk), receipts.get(sign.pk)) for sign in signs]


def sums_of(losses: Sequence[Loss]) -> LossSums:
    """Return losses added up: in all, the newest months, and where and why."""
    months: dict[tuple[str, ...], list[Loss]] = defaultdict(list)
    reasons: dict[tuple[str, ...], list[Loss]] = defaultdict(list)
    for loss in losses:
        month = f"{loss.lost_on:%Y-%m}" if loss.lost_on else "not known"
        months[(month,)].append(loss)
        reasons[(loss.where, loss.why)].append(loss)
    by_reason = [_sum(names, each) for names, each in reasons.items()]
    return LossSums(
        total=_sum((), losses),
        months=tuple(_sum(names, each) for names, each in months.items())[:MOST_MONTHS],
        reasons=tuple(
            sorted(by_reason, key=lambda each: (-each.area_ft2, -each.faces, each.names))
        ),
    )


def notes_of_removal(shop: Organisation, losses: Iterable[Loss]) -> dict[int, str]:
    """Return what was noted when faces were taken out of stock, by the face, in one query."""
    rows = (
        LogbookEntry.objects.owned_by(shop)
        .filter(sign__in=[loss.sign.pk for loss in losses], verb="remove sign")
        .order_by("at", "pk")
    )
    return {
        key: detail["note"]
        for key, detail in rows.values_list("sign", "detail")
        if key is not None and detail.get("note")
    }


_LOST = (FaceReceipt.Outcome.BROKEN, FaceReceipt.Outcome.MISSING)


def _loss(sign: Sign, check: FaceCheck | None, receipt: FaceReceipt | None) -> Loss:
    if receipt is not None:
        why = receipt.get_outcome_display()
        return Loss(sign, ON_THE_WAY, why, receipt.note, area_lost_ft2(sign))
    if check is not None:
        is_known = sign.width_in is not None and sign.height_in is not None
        why = ", ".join(faults_of(check))
        return Loss(sign, AT_THE_CHECK, why, check.note, check.lost_ft2 if is_known else None)
    return Loss(sign, AT_THE_PRESS, sign.get_removal_reason_display(), "", area_lost_ft2(sign))


def _sum(names: tuple[str, ...], losses: Sequence[Loss]) -> LossSum:
    known = [loss.area_ft2 for loss in losses if loss.area_ft2 is not None]
    return LossSum(names, len(losses), sum(known), len(losses) - len(known))
