"""From due signs to a crew's day: the order of stops."""

from inventory.engineering.programme.walk import nearest_neighbour_order

__all__ = ["nearest_neighbour_order"]
