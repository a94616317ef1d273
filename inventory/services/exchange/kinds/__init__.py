"""
The kinds of operation, each with the function that applies it.

``inspection`` is not among them: runs of inspections are applied together, by
``services.exchange.inspections``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from inventory.services.exchange.kinds import (
    add_sign,
    add_work,
    check,
    flag_record,
    install,
    move_support,
    remove,
    stop,
)

if TYPE_CHECKING:
    from inventory.services.exchange.content import Content
    from inventory.services.exchange.context import Context

Apply = Callable[["Content", "Context"], dict[str, Any]]

INSPECTION = "inspection"
DISCARD = "discard"

KINDS: Mapping[str, Apply] = {
    "check": check.apply,
    "install": install.apply,
    "remove": remove.apply,
    "move_support": move_support.apply,
    "add_sign": add_sign.apply,
    "flag_record": flag_record.apply,
    "stop": stop.apply,
    "add_work": add_work.apply,
}
