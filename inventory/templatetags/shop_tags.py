"""What the shop's pages show of areas, times and faces of orders."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django import template

from inventory.services.production.faces import frozen_build
from inventory.services.sign_faces import draw_face, looks_of_line

if TYPE_CHECKING:
    from decimal import Decimal

    from django.utils.safestring import SafeString

    from inventory.models import OrderLine
    from inventory.services.production import LoadedState

MINUTES_PER_HOUR = 60

register = template.Library()


@register.filter
def one_decimal(value: float) -> str:
    """Show an area, length or time with the one decimal all of them have here."""
    return f"{value:,.1f}"


@register.filter
def price(value: Decimal) -> str:
    """Show a price with two decimals, and more where it has more."""
    text = f"{value:,.4f}"
    return text[:-2] + text[-2:].rstrip("0")


@register.filter
def money(value: Decimal) -> str:
    """Show money to the hundredth."""
    return f"{value:,.2f}"


@register.filter
def hours(minutes: float) -> str:
    """Show a stretch of time as it is said: minutes, then hours and minutes."""
    if minutes < MINUTES_PER_HOUR:
        return f"{minutes:.1f} min"
    whole, rest = divmod(round(minutes), MINUTES_PER_HOUR)
    return f"{whole:,} h {rest:02d} min"


@register.simple_tag
def face_of_line(line: OrderLine, size_px: int = 44, local_types: Any = None) -> SafeString:
    """Draw the face an order line asks for."""
    return draw_face(looks_of_line(line, local_types), size_px=size_px)


@register.filter
def colour_words(color: str) -> str:
    """Show a colour in words."""
    return color.replace("-", " ")


@register.filter
def build_words(line: OrderLine) -> str:
    """Show how a line is to be built beside its base sheeting; else nothing."""
    build = frozen_build(line)
    if build is None:
        return ""
    is_its_base = build.base_color == line.base_color
    return build.words_without_base if is_its_base else build.words


@register.filter
def ink_rows(loaded: LoadedState) -> list[str]:
    """Show the ink of each channel: its colour where it was written down, and its lot."""
    return [
        " ".join(part for part in (channel, loaded.ink_colors.get(channel, "")) if part)
        + f", lot {lot}"
        for channel, lot in loaded.inks.items()
    ]
