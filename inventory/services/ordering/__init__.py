"""
Orders between an agency and a shop: drafted, released, printed, closed.

====================  ==================================================================
module                holds
====================  ==================================================================
``lines``             what an order line says, from a position or from what was typed
``drafting``          drafting an order and changing its lines
``life``              release, amendment, cancelling
``progress``          how far an order is, and its groups of faces
``on_order``          what is on order for a position already
``standard_checks``   a withdrawn code, a size too small for the road
``stock_matching``    faces in stock that fit a position, first made first
``reservations``      faces in stock kept for a position
``face_choices``      what an engineer decides about a position's next face
``from_programme``    what a programme year, a package or chosen signs ask for, by when
``hand_over``         all of that turned into draft orders, less what is in stock
====================  ==================================================================
"""

from inventory.services.ordering.drafting import (
    DraftResult,
    Refusal,
    add_line,
    draft_order,
    remove_line,
    set_line,
)
from inventory.services.ordering.life import amend_order, cancel_order, release_order
from inventory.services.ordering.progress import (
    LineProgress,
    OrderCounts,
    OrderGroup,
    order_counts,
    order_groups,
    order_progress,
)

__all__ = [
    "DraftResult",
    "LineProgress",
    "OrderCounts",
    "OrderGroup",
    "Refusal",
    "add_line",
    "amend_order",
    "cancel_order",
    "draft_order",
    "order_counts",
    "order_groups",
    "order_progress",
    "release_order",
    "remove_line",
    "set_line",
]
