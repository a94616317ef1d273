"""A support's point put right by a person on the spot; the point it had stays on record."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.engineering.places import cell_of, distance_m
from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import Sign, Support, SupportMove
from inventory.services.fields import check_fields
from inventory.services.logbook import log
from inventory.services.relinks import supports_kept_for
from inventory.services.standards import code_book
from inventory.services.standing import lock_signs, policy_or_none, rebuild

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import Organisation, User

# The globe and the reach of a position fix, not figures of a standard.
LARGEST_LATITUDE_DEG = 90.0
LARGEST_LONGITUDE_DEG = 180.0
WORST_ACCURACY_M = 100_000.0


@transaction.atomic
def move_support(
    *,
    support: Support,
    latitude_deg: float,
    longitude_deg: float,
    accuracy_m: float | None = None,
    reason: str = "",
    by: User | None = None,
    moved_at: datetime | None = None,
    now: datetime | None = None,
) -> SupportMove:
    """
    Put a support where a person says it stands; where it was, and how well, stays on record.

    Only this moves a support: a phone's own fix never does. The signs on it go with it.
    """
    now = now or timezone.now()
    check_point(latitude_deg, longitude_deg, accuracy_m)
    locked = lock_supports([support.pk])[0]
    kept = supports_kept_for([locked.pk]).get(locked.pk)
    if kept is not None:
        msg = (
            f"{_start(locked)} was recorded twice and is merged into support {kept}; move that "
            "one, or undo the merge first."
        )
        raise StateConflictError(msg)
    move = SupportMove(
        organisation=locked.organisation,
        support=locked,
        from_latitude_deg=locked.latitude_deg,
        from_longitude_deg=locked.longitude_deg,
        from_accuracy_m=locked.accuracy_m,
        to_latitude_deg=latitude_deg,
        to_longitude_deg=longitude_deg,
        to_accuracy_m=accuracy_m,
        reason=reason.strip(),
        moved_at=moved_at or now,
        recorded_at=now,
        moved_by=by,
    )
    check_fields(move, exclude=["organisation", "support", "moved_by"])
    move.save()
    locked.latitude_deg, locked.longitude_deg = latitude_deg, longitude_deg
    locked.accuracy_m = accuracy_m
    locked.cell = cell_of(latitude_deg, longitude_deg)
    locked.save(update_fields=["latitude_deg", "longitude_deg", "accuracy_m", "cell"])
    signs = signs_standing_on([locked.pk])
    words = _words(move)
    for sign in signs:
        log(
            organisation=locked.organisation,
            actor=by,
            verb="move support",
            text=words,
            at=now,
            sign=sign,
            detail={"move": move.pk},
        )
    if not signs:
        log(
            organisation=locked.organisation,
            actor=by,
            verb="move support",
            text=words,
            at=now,
            detail={"move": move.pk},
        )
    rebuild_standings(signs, locked.organisation, now)
    return move


def check_point(latitude_deg: float, longitude_deg: float, accuracy_m: float | None) -> None:
    """Refuse a point that is not on the globe, or an accuracy that is none."""
    for name, value, most in (
        ("latitude", latitude_deg, LARGEST_LATITUDE_DEG),
        ("longitude", longitude_deg, LARGEST_LONGITUDE_DEG),
    ):
        if not (math.isfinite(value) and -most <= value <= most):
            msg = (
                f"The {name} {value:g}° is not on the globe; it lies between −{most:g}° and "
                f"{most:g}°."
            )
            raise OutOfRangeError(msg)
    if accuracy_m is not None and not (
        math.isfinite(accuracy_m) and 0 <= accuracy_m <= WORST_ACCURACY_M
    ):
        msg = (
            f"The accuracy {accuracy_m:g} m is not one a phone reports; it lies between 0 m "
            f"and {WORST_ACCURACY_M:g} m. Leave it empty where it is not known."
        )
        raise OutOfRangeError(msg)


def lock_supports(support_ids: Sequence[int]) -> list[Support]:
    """
    Lock supports in a fixed order.

    Supports are locked before positions, and those before signs, everywhere.
    """
    return list(
        Support.objects.select_for_update(of=("self",))
        .filter(pk__in=support_ids)
        .select_related("organisation", "road")
        .order_by("pk")
    )


def signs_standing_on(support_ids: Sequence[int]) -> list[Sign]:
    """Lock the installed signs on supports and return them, as the method asks for them."""
    standing = Sign.objects.filter(
        position__support__in=support_ids, state=Sign.State.INSTALLED
    )
    return lock_signs(list(standing.order_by("pk").values_list("pk", flat=True)))


def rebuild_standings(signs: Sequence[Sign], organisation: Organisation, now: datetime) -> None:
    """Rebuild the standings of locked signs whose place changed; the caller's transaction."""
    if signs:
        policy, book = policy_or_none(organisation, now), code_book(organisation)
        rebuild(signs, policy=policy, book=book, now=now)


def _words(move: SupportMove) -> str:
    metres = float(
        distance_m(
            move.from_latitude_deg,
            move.from_longitude_deg,
            move.to_latitude_deg,
            move.to_longitude_deg,
        )
    )
    good_to = f", good to {move.to_accuracy_m:.0f} m" if move.to_accuracy_m is not None else ""
    why = f" {move.reason}" if move.reason else ""
    return (
        f"{_start(move.support)} moved {metres:,.1f} m, from {move.from_latitude_deg:.6f}, "
        f"{move.from_longitude_deg:.6f} to {move.to_latitude_deg:.6f}, "
        f"{move.to_longitude_deg:.6f}{good_to}.{why}"
    )


def _start(support: Support) -> str:
    name = str(support)
    return name[0].upper() + name[1:]
