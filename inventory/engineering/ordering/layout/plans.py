"""What a plan of rolls says: loads in order, what lies where, what is left or not laid."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from inventory.engineering.ordering.layout.clearance import FloatArray
    from inventory.engineering.ordering.layout.drawing_figures import Edges


@dataclass(frozen=True, slots=True, kw_only=True)
class StockRoll:
    """One roll in stock: its width, what is left of its length, and what it costs."""

    key: int
    width_in: float
    length_in: float
    cost_per_ft2: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """A piece of a face fixed: its box's corner nearest to the roll's edge and start. [in]."""

    face: int
    part: int = 1
    roll: int
    across_in: float
    along_in: float
    angle_deg: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """One piece on a roll; corners in inches from the roll's edge and its start."""

    face: int
    part: int
    parts: int
    due_rank: int
    roll: int
    outline: FloatArray
    angle_deg: float
    area_in2: float
    is_pinned: bool

    @property
    def edges(self) -> Edges:
        """Return the box: left, low, right, high."""
        (left, low), (right, high) = self.outline.min(axis=0), self.outline.max(axis=0)
        return float(left), float(low), float(right), float(high)

    @property
    def pin(self) -> Pin:
        """Return what fixes it where it lies."""
        left, low, _, _ = self.edges
        return Pin(
            face=self.face,
            part=self.part,
            roll=self.roll,
            across_in=left,
            along_in=low,
            angle_deg=self.angle_deg,
        )


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """
    What is laid on one roll, loaded once.

    ``length_in`` is what the faces take; ``taken_in`` is that with lead-in, bleed and tail, and
    ``left_in`` what is then left of the roll. ``bound_in`` is a length that these faces, with
    their order or their pins, do not go under on this roll.
    """

    roll: StockRoll
    laid: tuple[Laid, ...]
    usable_width_in: float
    length_in: float
    bound_in: float
    taken_in: float
    left_in: float
    is_straight: bool


@dataclass(frozen=True, slots=True)
class NotLaid:
    """A face that lies on no roll, and why."""

    face: int
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class RollPlan:
    """
    Loads in the order they are printed in, and the faces that are not laid.

    ``other_length_in`` is what the other way takes (in order of rank, if this one is mixed;
    mixed, if this is in order), none where all faces have one rank, or where the two do not lay
    equally many faces. ``waste_cost`` is known where every roll used has a cost.
    """

    loads: tuple[Load, ...]
    not_laid: tuple[NotLaid, ...]
    is_in_order: bool
    taken_in: float
    waste_ft2: float
    waste_cost: float | None
    other_length_in: float | None

    @property
    def order_costs_in(self) -> float | None:
        """Return how much length the order of ranks costs, or mixing saves; none if unknown."""
        if self.other_length_in is None:
            return None
        more = self.taken_in - self.other_length_in
        return more if self.is_in_order else -more
