"""Times of crew days in words."""

from __future__ import annotations

MINUTES_PER_HOUR = 60


def hours_words(minutes: float) -> str:
    """Return minutes as hours and minutes."""
    hours, rest = divmod(round(minutes), MINUTES_PER_HOUR)
    return f"{hours} h {rest:02d}" if hours else f"{rest} min"
