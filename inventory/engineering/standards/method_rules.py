"""Figures that the methods of record are held against."""

from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, read_table

METHOD_RULES_FILE = "method_rules.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastControlSigns(PublishedRow):
    """How many control signs of one sheeting type there have to be at least."""

    count: int
    short_source: str


@cache
def least_control_signs() -> LeastControlSigns:
    """
    Return how many control signs each sheeting type needs.

    References
    ----------
    .. [1] FHWA-HRT-08-026 as cited in NCHRP Synthesis 431 p. 12.

    Examples
    --------
    >>> least_control_signs().count
    3
    """
    row = next(
        row
        for row in read_table(METHOD_RULES_FILE).rows
        if row.text("key") == "least_control_signs"
    )
    return LeastControlSigns(
        **row.published(),
        count=int(row.decimal("value")),
        short_source=row.text("short_source"),
    )
