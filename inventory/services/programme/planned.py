"""What the adopted programme says of a sign."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import PlannedReplacement, Programme

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign


def planned_of(*, sign: Sign, organisation: Organisation) -> PlannedReplacement | None:
    """Return what the agency's adopted programme says of the face that stands, if anything."""
    rows = PlannedReplacement.objects.owned_by(organisation).filter(
        sign=sign, position=sign.position_id, programme__state=Programme.State.ADOPTED
    )
    found: PlannedReplacement | None = rows.select_related("programme").first()
    return found
