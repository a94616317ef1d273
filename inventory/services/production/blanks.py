"""Blanks in stock: received, counted, and taken by the faces that are put on them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Count, Q, Sum
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Blank, BlankCount, FaceStep, Organisation
from inventory.services.logbook import log

if TYPE_CHECKING:
    from collections.abc import Iterable
    from datetime import datetime

    from inventory.models import User

MOST_THICKNESS_IN = 1.0
MOST_SIDE_IN = 240.0
MOST_AT_ONCE = 10_000


@transaction.atomic
def add_blanks(
    *,
    shop: Organisation,
    width_in: float,
    height_in: float,
    thickness_in: float,
    count: int,
    shape: str = "",
    holes: str = "",
    is_reclaimed: bool = False,
    reason: str = "received",
    by: User | None = None,
    now: datetime | None = None,
) -> Blank:
    """Take blanks into stock, new or reclaimed; of a kind that is there, there are more."""
    now = now or timezone.now()
    if shop.kind != Organisation.Kind.SHOP:
        msg = f"{shop} is a {shop.get_kind_display()}; only a sign shop keeps blanks."
        raise StateConflictError(msg)
    for value, most, words in (
        (width_in, MOST_SIDE_IN, "width"),
        (height_in, MOST_SIDE_IN, "height"),
        (thickness_in, MOST_THICKNESS_IN, "thickness"),
    ):
        if not (math.isfinite(value) and 0 < value <= most):
            msg = f"A {words} of {value:g} in is out of range; it is over 0, to {most:g} in."
            raise OutOfRangeError(msg)
    blank, _ = Blank.objects.get_or_create(
        organisation=shop,
        shape=shape.strip(),
        width_in=width_in,
        height_in=height_in,
        thickness_in=thickness_in,
        holes=holes.strip()[:120],
        is_reclaimed=is_reclaimed,
    )
    change_count(blank=blank, change=count, reason=reason, by=by, now=now)
    return blank


@transaction.atomic
def change_count(
    *,
    blank: Blank,
    change: int,
    reason: str,
    by: User | None = None,
    now: datetime | None = None,
) -> BlankCount:
    """Record blanks that came in or went out, with the reason; never more than there are."""
    now = now or timezone.now()
    locked = Blank.objects.select_for_update(of=("self",)).get(pk=blank.pk)
    if change == 0 or abs(change) > MOST_AT_ONCE:
        msg = (
            f"A change of {change} blanks is out of range; it is up to {MOST_AT_ONCE:,}, not 0."
        )
        raise OutOfRangeError(msg)
    if not reason.strip():
        msg = "Say why the number of blanks changes, such as received, scrapped or counted."
        raise OutOfRangeError(msg)
    there = blanks_left([locked])[locked.pk]
    if there + change < 0:
        msg = f"{-change} of {locked} cannot go out: {there} are in stock."
        raise StateConflictError(msg)
    counted: BlankCount = BlankCount.objects.create(
        blank=locked,
        change=change,
        reason=reason.strip()[:120],
        happened_at=now,
        recorded_by=by,
    )
    log(
        organisation=locked.organisation,
        actor=by,
        verb="count blanks",
        text=f"{change:+d} {locked}: {counted.reason}; {there + change} in stock.",
        at=now,
    )
    return counted


def blanks_left(blanks: Iterable[Blank]) -> dict[int, int]:
    """Return how many of each kind are in stock, by its key, in two queries."""
    keys = [blank.pk for blank in blanks]
    counts = dict(
        BlankCount.objects.filter(blank__in=keys)
        .order_by()
        .values_list("blank")
        .annotate(total=Sum("change"))
    )
    taken = dict(
        FaceStep.objects.filter(blank__in=keys)
        .order_by()
        .values_list("blank")
        .annotate(
            total=Count("pk", filter=Q(is_withdrawn=False))
            - Count("pk", filter=Q(is_withdrawn=True))
        )
    )
    return {key: counts.get(key, 0) - taken.get(key, 0) for key in keys}
