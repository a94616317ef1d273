"""How soon others put damaged signs right: to compare with, never a default."""

from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, read_table

RESPONSE_TIMES_FILE = "response_times.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedResponse(PublishedRow):
    """The time one source gives for some signs, in its words."""

    signs: str
    target: str


@cache
def published_responses() -> tuple[PublishedResponse, ...]:
    """
    Return every published time for putting damage right that was found.

    References
    ----------
    .. [1] Each row names its own.

    Examples
    --------
    >>> published_responses()[0].target
    'a crew goes at once'
    """
    return tuple(
        PublishedResponse(**row.published(), signs=row.text("signs"), target=row.text("target"))
        for row in read_table(RESPONSE_TIMES_FILE).rows
    )
