"""A support's point put right by a crew that stood beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.engineering.places import distance_m
from inventory.models import Support, SupportMove
from inventory.services.exchange import shapes
from inventory.services.exchange.content import MOST_ACCURACY_M
from inventory.services.exchange.holding import ConflictError
from inventory.services.support_moves import lock_supports, move_support

if TYPE_CHECKING:
    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

LONGEST_REASON = SupportMove._meta.get_field("reason").max_length or 0
# A post put right is put right by metres; farther, the wrong one was more likely picked.
# Common practice, no source.
FARTHEST_UNSEEN_M = 1000.0


def apply(content: Content, context: Context) -> dict[str, Any]:
    """Move the support; what contradicts a later move, or goes far, goes to an engineer."""
    payload = content.payload
    named = context.resolve(payload.get("support"), Support, "support")
    latitude_deg = shapes.number(payload, "latitude_deg", least=-90.0, most=90.0)
    longitude_deg = shapes.number(payload, "longitude_deg", least=-180.0, most=180.0)
    accuracy_m = shapes.number_or_none(payload, "accuracy_m", least=0.0, most=MOST_ACCURACY_M)
    reason = shapes.text(payload, "reason", most=LONGEST_REASON, default="")
    support = lock_supports([named.pk])[0]
    if not context.is_decided:
        _check_conflict(context, support, latitude_deg, longitude_deg)
    move = move_support(
        support=support,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        accuracy_m=accuracy_m,
        reason=reason,
        by=context.person,
        moved_at=context.at,
        now=context.now,
    )
    return {"support_id": support.pk, "move_id": move.pk}


def _check_conflict(
    context: Context, support: Support, latitude_deg: float, longitude_deg: float
) -> None:
    later = support.moves.filter(moved_at__gt=context.at).order_by("moved_at", "pk").last()
    if later is not None:
        clock = context.organisation.clock_words
        msg = (
            f"This moved the support at {clock(context.at)}, but it was moved again at "
            f"{clock(later.moved_at)}, before this came in. An engineer decides where it is."
        )
        raise ConflictError(msg)
    metres = float(
        distance_m(support.latitude_deg, support.longitude_deg, latitude_deg, longitude_deg)
    )
    if metres > FARTHEST_UNSEEN_M:
        msg = (
            f"This would move the support {metres / 1000:.1f} km, more than "
            f"{FARTHEST_UNSEEN_M / 1000:g} km: another support may have been meant. An "
            "engineer decides."
        )
        raise ConflictError(msg)
