"""How thick a flat aluminium blank is by its size: a published rule a shop may adopt."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, read_table

SUBSTRATE_FILE = "substrate_thickness.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedThickness(PublishedRow):
    """The thickness up to a longest side; ``up_to_in`` is none for all longer ones."""

    up_to_in: Decimal | None
    thickness_in: Decimal


@cache
def published_thicknesses() -> tuple[PublishedThickness, ...]:
    """
    Return the published rule, smallest sides first.

    References
    ----------
    .. [1] Iowa DOT Standard Specification 4186.02 (2009), where the contract is silent.

    Examples
    --------
    >>> [(str(row.up_to_in), str(row.thickness_in)) for row in published_thicknesses()]
    [('36.0', '0.080'), ('None', '0.125')]
    """
    return tuple(
        PublishedThickness(
            **row.published(),
            up_to_in=row.optional_decimal("up_to_in"),
            thickness_in=row.decimal("thickness_in"),
        )
        for row in read_table(SUBSTRATE_FILE).rows
    )
