"""Whether what was decided about a sign still stands on a day."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum


class Decision(StrEnum):
    """What can be decided about a sign that is below, undecided or damaged."""

    REPLACE = "replace"
    REREAD = "reread"
    DEFER = "defer"
    CLAIM = "claim"
    NOT_OURS = "not_ours"


@dataclass(frozen=True, slots=True)
class Decided:
    """One decision: what, when, and until when where it was to wait."""

    decision: Decision
    decided_at: datetime
    defer_until_on: date | None = None


@dataclass(frozen=True, slots=True)
class DecisionState:
    """Whether a decision stands; ``why_not`` says why none does."""

    stands: bool
    why_not: str = ""


def decision_stands(
    decisions: Iterable[Decided], *, on: date, last_seen_at: datetime | None = None
) -> DecisionState:
    """
    Return whether the last decision about a sign still stands on a day.

    To replace it, and that it is not the agency's, stand until something else is decided. To
    read it again stands until somebody has looked at it since. To wait, for a claim under
    warranty or for anything else, stands until its day.

    Parameters
    ----------
    decisions : iterable of Decided
        All that was decided about this face, in any order; the newest counts.
    on : date
        The day asked about.
    last_seen_at : datetime, optional
        When the face was last inspected.

    Examples
    --------
    >>> wait = Decided(Decision.DEFER, datetime(2026, 1, 5), date(2026, 3, 1))
    >>> decision_stands([wait], on=date(2026, 3, 2)).why_not
    'deferred until 2026-03-01, which has passed'
    """
    newest = max(decisions, key=lambda each: each.decided_at, default=None)
    if newest is None:
        return DecisionState(False, "nothing decided")
    if newest.decision in (Decision.DEFER, Decision.CLAIM) and (
        newest.defer_until_on is None or newest.defer_until_on < on
    ):
        until = f"{newest.defer_until_on:%Y-%m-%d}" if newest.defer_until_on else "no day"
        what = "deferred" if newest.decision is Decision.DEFER else "waited for a claim"
        return DecisionState(False, f"{what} until {until}, which has passed")
    if (
        newest.decision is Decision.REREAD
        and last_seen_at is not None
        and last_seen_at > newest.decided_at
    ):
        return DecisionState(False, "looked at again since it was decided to")
    return DecisionState(True)
