"""A row of each record of how a shop builds its faces."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import BuildRule
from tests.factories import NOW

if TYPE_CHECKING:
    from inventory.models import Organisation


def fill_builds(shop: Organisation) -> BuildRule:
    """Say how the shop builds stop signs: red and white on white sheeting."""
    rule, is_new = BuildRule.objects.get_or_create(
        organisation=shop,
        sign_code="R1-1",
        sheeting_type="IX",
        defaults={"base_color": "white", "overlay": "with", "set_at": NOW},
    )
    if is_new:
        rule.areas.create(part="background", color="red", colouring="printed_spot")
    return rule
