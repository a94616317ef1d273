"""The one enumeration of verdicts, for a colour, a contrast and a sign alike."""

from collections.abc import Iterable
from enum import StrEnum


class Verdict(StrEnum):
    """What can be said of a colour, a contrast or a sign against its published level."""

    MEETS = "meets"
    BELOW = "below"
    UNDECIDED = "undecided"
    NO_USABLE_READING = "no usable reading"
    NO_LEVEL = "no level"
    SHEETING_NOT_ALLOWED = "sheeting not allowed"
    EXCLUDED = "excluded"

    @property
    def is_failing(self) -> bool:
        """Return whether the sign has to be replaced: below, or of sheeting not allowed."""
        return self in (Verdict.BELOW, Verdict.SHEETING_NOT_ALLOWED)


# Worst first: what certainly fails, then what may fail, then what says nothing.
WORST_FIRST = (
    Verdict.SHEETING_NOT_ALLOWED,
    Verdict.BELOW,
    Verdict.UNDECIDED,
    Verdict.NO_USABLE_READING,
    Verdict.NO_LEVEL,
    Verdict.MEETS,
    Verdict.EXCLUDED,
)


def worst_verdict(verdicts: Iterable[Verdict]) -> Verdict:
    """
    Return the worst of several verdicts: a sign is as good as its worst element.

    The order is sheeting not allowed, below, undecided, no usable reading, no level, meets;
    excluded stands alone, since a sign is left out whole.

    Parameters
    ----------
    verdicts : iterable of Verdict
        At least one.

    Raises
    ------
    ValueError
        If there is none.

    Examples
    --------
    >>> worst_verdict([Verdict.MEETS, Verdict.NO_USABLE_READING]).value
    'no usable reading'
    """
    return min(verdicts, key=WORST_FIRST.index)
