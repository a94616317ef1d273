"""Contrast of two colours as WCAG 2.2 defines it, for the tests of the style sheets."""

from __future__ import annotations

import re

_CUSTOM_COLOR = re.compile(r"--([\w-]+):\s*(#[0-9a-f]{6});")


def custom_colors(css: str) -> dict[str, str]:
    """Return the custom properties of a block that are colours."""
    return dict(_CUSTOM_COLOR.findall(css))


def contrast_ratio(one: str, other: str) -> float:
    """Return the contrast ratio of two hex colours, 1 to 21."""
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _luminance(color: str) -> float:
    """Return relative luminance: W3C, WCAG 2.2, section 'Terms'."""
    channels = (int(color[n : n + 2], 16) / 255 for n in (1, 3, 5))
    red, green, blue = (
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
