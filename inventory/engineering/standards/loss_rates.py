"""Published losses to damage, theft and knock-down: to compare with, never a default."""

from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, read_table

LOSS_RATES_FILE = "loss_rates.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedLoss(PublishedRow):
    """One published loss a year; ``is_worked_out`` where only a share left was printed."""

    study: str
    what: str
    yearly_share: float
    note: str
    is_worked_out: bool


@cache
def published_losses() -> tuple[PublishedLoss, ...]:
    """
    Return every published loss that was found, each as a share a year.

    References
    ----------
    .. [1] Each row names its own.

    Examples
    --------
    >>> [round(row.yearly_share, 5) for row in published_losses()]
    [0.0237, 0.047, 0.1, 0.06636]
    """
    found = []
    for row in read_table(LOSS_RATES_FILE).rows:
        yearly, left = row.optional_decimal("yearly_share"), row.optional_decimal("share_left")
        if yearly is None and left is not None:
            share = 1 - float(left) ** (1 / float(row.decimal("years")))
        else:
            share = float(row.decimal("yearly_share"))
        found.append(
            PublishedLoss(
                **row.published(),
                study=row.text("study"),
                what=row.text("what"),
                yearly_share=share,
                note=row.optional_text("note"),
                is_worked_out=yearly is None,
            )
        )
    return tuple(found)
