"""What came of a stop of a work package."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.models import PackageStop, StopResult
from inventory.services.exchange import shapes
from inventory.services.work_packages import record_stop

if TYPE_CHECKING:
    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

LONGEST_REASON = StopResult._meta.get_field("reason").max_length or 0


def apply(content: Content, context: Context) -> dict[str, Any]:
    """Record that a stop was done, or why it was not."""
    payload = content.payload
    stop_id = shapes.whole(payload, "stop_id", least=1)
    result = record_stop(
        stop=context.resolve({"id": stop_id}, PackageStop, "stop_id"),
        outcome=shapes.choice(payload, "outcome", StopResult.Outcome.values),
        reason=shapes.text(payload, "reason", most=LONGEST_REASON, default=""),
        by=context.person,
        happened_at=context.at,
        client_uuid=content.client_uuid,
        now=context.now,
    )
    return {"stop_id": result.stop_id}
