"""Supports and the positions on them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.db import transaction

from inventory.engineering.places import cell_of
from inventory.models import Position, Support

if TYPE_CHECKING:
    from inventory.models import Organisation


@transaction.atomic
def create_support(
    *, organisation: Organisation, latitude_deg: float, longitude_deg: float, **fields: Any
) -> Support:
    """Create a support at a point; its map cell follows from the point."""
    support = Support(
        organisation=organisation,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        cell=cell_of(latitude_deg, longitude_deg),
        **fields,
    )
    support.full_clean(exclude=["organisation", "road"])
    support.save()
    return support


@transaction.atomic
def create_position(*, support: Support, **fields: Any) -> Position:
    """Create a place for one sign on a support."""
    position = Position(organisation=support.organisation, support=support, **fields)
    position.full_clean(exclude=["organisation", "support", "parent"])
    position.save()
    return position
