"""What warns of a line: a code that was withdrawn, a size too small for its road."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.engineering.ordering.standard_checks import Check, standard_warnings
from inventory.engineering.standards.vocabulary import Edition
from inventory.errors import InventoryError
from inventory.models import PrintOrder
from inventory.services.ordering.lines import Rulebook, road_class_of

if TYPE_CHECKING:
    from collections.abc import Iterable

    from inventory.engineering.ordering.standard_checks import StandardWarning
    from inventory.models import OrderLine, Position


@dataclass(frozen=True)
class LineWarning:
    """
    Why a line may not be what is standard; an engineer decides.

    ``accepted_reason`` is why an engineer keeps the position's own size all the same. What was
    not checked is told, but is no warning.
    """

    sentence: str
    is_code: bool = False
    successor: str = ""
    size_words: str = ""
    is_warning: bool = True
    accepted_reason: str = ""

    @property
    def is_open(self) -> bool:
        """Return whether it warns, and no engineer has said why it is right all the same."""
        return self.is_warning and not self.accepted_reason


def line_warnings(line: OrderLine, rules: Rulebook) -> list[LineWarning]:
    """
    Return what warns of a line; none of it keeps the line from being ordered.

    No query where the line's position has its support and road.
    """
    try:
        sign_type = rules.codes.resolve(line.sign_code).sign_type
    except InventoryError:
        return []  # such a line is refused, with its sentence
    position = line.position
    found = standard_warnings(
        sign_type,
        line.width_in,
        line.height_in,
        road_class_of(position) if position is not None else None,
        Edition(rules.policy.edition),
    )
    if position is None:
        # Faces for stock go to no road yet: only what is too small for every road is told.
        found = tuple(each for each in found if each.check is not Check.NOT_CHECKED)
    return [_as_told(each, position) for each in found]


def warnings_of_draft(
    order: PrintOrder, lines: Iterable[OrderLine]
) -> dict[int, list[LineWarning]]:
    """Return what warns of some lines of a draft, by the line's key; of none once released."""
    if order.state != PrintOrder.State.DRAFT:
        return {}
    rules = Rulebook.of(order.agency, timezone.now())
    return {each.pk: found for each in lines if (found := line_warnings(each, rules))}


def _as_told(warning: StandardWarning, position: Position | None) -> LineWarning:
    is_size = warning.check is Check.SIZE
    size = warning.size
    is_whole = size is not None and size.is_complete
    return LineWarning(
        sentence=warning.sentence,
        is_code=warning.check is Check.CODE,
        successor=warning.successor,
        size_words=f"{size.width_in:f} × {size.height_in:f}" if size and is_whole else "",
        is_warning=warning.check is not Check.NOT_CHECKED,
        accepted_reason=position.size_override_reason if position and is_size else "",
    )
