"""What is promised of one sign, and the claims it is in, for its page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from inventory.models import ClaimFace, Sign
from inventory.services.warranty.candidates import find_candidates

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Organisation
    from inventory.services.warranty.candidates import Candidate


@dataclass(frozen=True, slots=True)
class SignWarranty:
    """The colours of a sign that fall short now, and those that are or were claimed."""

    candidates: tuple[Candidate, ...]
    claimed: tuple[ClaimFace, ...]

    def __bool__(self) -> bool:
        """Return whether there is anything to say."""
        return bool(self.candidates or self.claimed)


def warranty_of_sign(*, agency: Organisation, sign: Sign, now: datetime) -> SignWarranty:
    """Return what falls short of a promise in force, and the claims; newest claim first."""
    claimed = (
        ClaimFace.objects.owned_by(agency)
        .filter(sign=sign)
        .select_related("claim", "answer")
        .order_by("-claim__number", "color")
    )
    candidates: tuple[Candidate, ...] = ()
    if sign.maker_id is not None and sign.state == Sign.State.INSTALLED:
        candidates = tuple(find_candidates(agency, now=now, signs=[sign.pk]).candidates)
    return SignWarranty(candidates, tuple(claimed))
