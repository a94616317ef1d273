"""A face comes down with nothing put in its place, as a crew did it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.models import Sign
from inventory.services.exchange import shapes
from inventory.services.exchange.days import day_by_the_server
from inventory.services.exchange.holding import ConflictError
from inventory.services.installation import remove_sign

if TYPE_CHECKING:
    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

LONGEST_NOTE = 255


def apply(content: Content, context: Context) -> dict[str, Any]:
    """Take the face down; one that came down otherwise meanwhile goes to an engineer."""
    payload = content.payload
    named = context.resolve(payload.get("sign"), Sign, "sign")
    removed_on = day_by_the_server(content, context, "removed_on")
    reason = shapes.choice(payload, "reason", Sign.RemovalReason.values)
    note = shapes.text(payload, "note", most=LONGEST_NOTE, default="")
    sign: Sign = Sign.objects.select_for_update(of=("self",)).get(pk=named.pk)
    if (
        sign.state == Sign.State.REMOVED
        and not context.is_decided
        and (sign.removed_on, sign.removal_reason) != (removed_on, reason)
    ):
        was = "on a day not known" if sign.removed_on is None else f"on {sign.removed_on}"
        msg = (
            f"Sign {sign.pk} is on record as taken down {was} "
            f"({sign.get_removal_reason_display()}); this says on {removed_on} "
            f"({Sign.RemovalReason(reason).label}). An engineer decides which is right."
        )
        raise ConflictError(msg)
    removed = remove_sign(
        sign=sign,
        removed_on=removed_on,
        reason=reason,
        note=note,
        by=context.person,
        now=context.now,
    )
    return {"sign_id": removed.pk}
