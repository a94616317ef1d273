"""Something on record that a person at the sign says is wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from inventory.models import Sign
from inventory.services.exchange import shapes
from inventory.services.wrong_data import LONGEST_SAID, SAID_BY_A_PERSON, flag_wrong_data

if TYPE_CHECKING:
    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context


def apply(content: Content, context: Context) -> dict[str, Any]:
    """Keep what is said; the record itself is not changed by it."""
    payload = content.payload
    flag = flag_wrong_data(
        sign=context.resolve(payload.get("sign"), Sign, "sign"),
        field=shapes.choice(payload, "field", [each.value for each in SAID_BY_A_PERSON]),
        said=shapes.text(payload, "said", least=1, most=LONGEST_SAID),
        by=context.person,
        seen_at=context.at,
        client_uuid=content.client_uuid,
        now=context.now,
    )
    return {"flag_id": flag.pk, "sign_id": flag.sign_id}
