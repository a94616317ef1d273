"""Which suspect lots a face is made of."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.engineering.assessment.face import Colouring
from inventory.models import LotFinding

if TYPE_CHECKING:
    from inventory.models import Organisation, Sign

_PRINTED = (Colouring.PRINTED_SPOT.value, Colouring.PRINTED_MIXED.value)


def suspect_lots_of(*, sign: Sign, organisation: Organisation) -> list[LotFinding]:
    """
    Return the suspect lots among those that a face is made of, in one query at most.

    An organisation has few suspect lots, so all of them are looked through.
    """
    if sign.print_run_id is None:
        return []
    suspects = LotFinding.objects.owned_by(organisation).filter(is_suspect=True)
    printed = {area.color for area in sign.colour_areas.all() if area.colouring in _PRINTED}
    return [
        finding
        for finding in suspects.order_by("q_value", "key")
        if any(
            sign.print_run_id in made["run_ids"]
            and (made["color"] in printed or not made["color"])
            for made in finding.detail.get("made_in", ())
        )
    ]
