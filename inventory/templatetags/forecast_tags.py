"""What the pages show of chances and of expected numbers of signs."""

from __future__ import annotations

from django import template
from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

from inventory.web import numbers

register = template.Library()


@register.filter
def chance(probability: float) -> str:
    """Show a chance in per cent; none that could be otherwise is shown as 0 or 100."""
    return numbers.percent_words(probability)


@register.filter
def with_ra(words: object) -> SafeString:
    """Show the coefficient of retroreflection as it is printed: an R with a small A."""
    return mark_safe(escape(str(words)).replace("R_A", "R<sub>A</sub>"))  # noqa: S308 - escaped
