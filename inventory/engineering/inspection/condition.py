"""What the newest observations together say of the state of a face."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from inventory.engineering.inspection.vocabulary import Severity

GENERAL = "general"


@dataclass(frozen=True, slots=True)
class Observed:
    """
    One thing seen on a face: what, how bad, and when.

    ``notified_at`` is when the agency came to know of it; ``None`` when that is not recorded.
    """

    kind: str
    severity: Severity
    words: str
    taken_at: datetime
    notified_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Condition:
    """The worst of what stands observed; ``worst`` is ``None`` when nobody has looked."""

    worst: Observed | None
    standing: tuple[Observed, ...]

    @property
    def severity(self) -> Severity | None:
        """Return how bad the worst is, or ``None`` when nobody has looked."""
        return None if self.worst is None else self.worst.severity


def find_condition(observations: Iterable[Observed]) -> Condition:
    """
    Return the condition of a face from everything ever seen on it.

    A later look at the same kind of damage replaces an earlier one; a general condition of
    "sound" replaces everything seen before it. Damage of one kind is not cleared by a later
    note about another: a severe bend stays severe although somebody since noted growth. The
    same damage seen again is known since it was first reported.

    Parameters
    ----------
    observations : iterable of Observed
        In any order.

    Returns
    -------
    Condition
        The worst observation that still stands (the newest of equals), and all that stand,
        worst first.

    Examples
    --------
    >>> first, second = datetime(2025, 3, 1), datetime(2026, 3, 1)
    >>> bent = Observed("bent", Severity.SEVERE, "bent", first)
    >>> growth = Observed("obstructed", Severity.SLIGHT, "hidden by growth", second)
    >>> find_condition([growth, bent]).worst.words
    'bent'
    """
    newest: dict[str, Observed] = {}
    for each in sorted(observations, key=lambda one: (one.taken_at, one.severity)):
        if each.kind == GENERAL and each.severity is Severity.NONE:
            newest = {
                kind: other for kind, other in newest.items() if other.taken_at == each.taken_at
            }
        newest[each.kind] = _known_since(newest.get(each.kind), each)
    standing = tuple(
        sorted(newest.values(), key=lambda one: (-one.severity, -one.taken_at.timestamp()))
    )
    return Condition(standing[0] if standing else None, standing)


def _known_since(earlier: Observed | None, later: Observed) -> Observed:
    """Return the later of two looks; damage no worse than before was reported before."""
    if earlier is None or later.severity == Severity.NONE or later.severity > earlier.severity:
        return later
    return replace(later, notified_at=earlier.notified_at)
