"""What the field pages show of distances and directions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import template
from django.utils.html import format_html
from django.utils.safestring import mark_safe

from inventory.engineering.places.surroundings import compass_words
from inventory.services.sign_faces import FILLS
from inventory.units import METRES_PER_FOOT

if TYPE_CHECKING:
    from django.utils.safestring import SafeString

    from inventory.services.nearby import Near

FEET_PER_MILE = 5280.0  # international mile (NIST SP 811, appendix B.6)
LONGEST_IN_FEET_FT = 1000.0
ROUGH_FROM_FT = 100.0
BESIDE_M = 3.0

register = template.Library()


@register.filter
def way(distance_m: float) -> str:
    """Show a distance as a crew paces or drives it: feet, then miles."""
    distance_ft = distance_m / METRES_PER_FOOT
    if distance_ft >= LONGEST_IN_FEET_FT:
        return f"{distance_ft / FEET_PER_MILE:.1f} mi"
    step = 1 if distance_ft < ROUGH_FROM_FT else 10
    return f"{round(distance_ft / step) * step} ft"


@register.filter
def way_to(near: Near) -> str:
    """Show how far something is and in which direction; beside one's feet it has none."""
    if near.distance_m < BESIDE_M:
        return "right here"
    return f"{way(near.distance_m)} {compass_words(near.bearing_deg)}"


@register.filter
def compass(bearing_deg: float | None) -> str:
    """Show a bearing as one of eight winds; nothing when it is not known."""
    return "" if bearing_deg is None else compass_words(bearing_deg)


@register.simple_tag
def colour_swatch(color: str) -> SafeString:
    """Show a sign colour as a snippet of sheeting, a corner cut off; one not known dashed."""
    return format_html(
        '<svg class="swatch" viewBox="0 0 20 20" aria-hidden="true">'
        '<path d="M1 3h18v9l-5 5H1z" fill="{}" stroke="currentColor" '
        'stroke-width="1.5"{}/></svg>',
        FILLS.get(color, "none"),
        "" if color in FILLS else mark_safe(' stroke-dasharray="3 2"'),
    )
