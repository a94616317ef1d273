"""What the pages show of chances and of expected numbers of signs."""

from __future__ import annotations

from django import template

from inventory.web import numbers

register = template.Library()


@register.filter
def chance(probability: float) -> str:
    """Show a chance in per cent; none that could be otherwise is shown as 0 or 100."""
    return numbers.percent_words(probability)
