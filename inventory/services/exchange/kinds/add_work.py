"""Work that a crew sees on the road and adds to its package."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.models import PackageStop, Position, StopResult, WorkPackage
from inventory.services.added_work import add_work
from inventory.services.exchange import shapes

if TYPE_CHECKING:
    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

LONGEST_NOTE = PackageStop._meta.get_field("note").max_length or 0
OUTCOMES = ("", *StopResult.Outcome.values)  # none: it is still to be done
LONGEST_REASON = StopResult._meta.get_field("reason").max_length or 0


def apply(content: Content, context: Context) -> dict[str, Any]:
    """Add a stop at the end of the package; done at once, or still to be done."""
    payload = content.payload
    package_id = shapes.whole(payload, "package_id", least=1)
    stop = add_work(
        package=context.resolve({"id": package_id}, WorkPackage, "package_id"),
        position=context.resolve(payload.get("position"), Position, "position"),
        task=shapes.choice(payload, "task", PackageStop.Task.values),
        note=shapes.text(payload, "note", most=LONGEST_NOTE, default=""),
        outcome=shapes.choice(payload, "outcome", OUTCOMES, default=""),
        reason=shapes.text(payload, "reason", most=LONGEST_REASON, default=""),
        by=context.person,
        happened_at=context.at,
        client_uuid=content.client_uuid,
        now=context.now,
    )
    return {"stop_id": stop.pk, "package_id": stop.package_id}
