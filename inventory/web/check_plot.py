"""An instrument's checks over time against its tolerance, drawn by the server."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.safestring import SafeString, mark_safe

from inventory.engineering.inspection.instruments import relative_difference

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.models import InstrumentCheck

WIDTH, HEIGHT = 440.0, 170.0
LEFT, RIGHT, TOP, BOTTOM = 52.0, 14.0, 12.0, 26.0
HEADROOM = 1.2
PERCENT = 100.0
HALF_MARK = 4.5


def draw_checks(checks: Sequence[InstrumentCheck]) -> SafeString | None:
    """Return a drawing of checks, newest first as given; ``None`` when there is none."""
    if not checks:
        return None
    shares = [_percent_off(each) for each in checks]
    tolerances = [each.tolerance_rel * PERCENT for each in checks]
    top = max(*(abs(each) for each in shares), *tolerances) * HEADROOM
    first, last = checks[-1].checked_at.timestamp(), checks[0].checked_at.timestamp()

    def x(check: InstrumentCheck) -> float:
        inner = WIDTH - LEFT - RIGHT
        if last == first:
            return LEFT + inner / 2
        return LEFT + (check.checked_at.timestamp() - first) / (last - first) * inner

    def y(percent: float) -> float:
        return TOP + (top - percent) / (2 * top) * (HEIGHT - TOP - BOTTOM)

    newest = tolerances[0]
    parts = [
        f'<rect class="tolerance" x="{LEFT:g}" y="{y(newest):.1f}" '
        f'width="{WIDTH - LEFT - RIGHT:g}" height="{y(-newest) - y(newest):.1f}"/>'
    ]
    for percent, text in (
        (newest, f"+{newest:g} %"),
        (0.0, "0"),
        (-newest, f"\N{MINUS SIGN}{newest:g} %"),
    ):
        parts.append(
            f'<line class="grid" x1="{LEFT:g}" x2="{WIDTH - RIGHT:g}" y1="{y(percent):.1f}" '
            f'y2="{y(percent):.1f}"/><text class="axis end" x="{LEFT - 6:g}" '
            f'y="{y(percent) + 4:.1f}">{text}</text>'
        )
    parts.extend(
        _mark(x(check), y(share), check) for check, share in zip(checks, shares, strict=True)
    )
    parts.append(
        f'<text class="axis" x="{LEFT:g}" y="{HEIGHT - 6:g}">'
        f"{checks[-1].checked_at:%Y-%m-%d}</text>"
        f'<text class="axis end" x="{WIDTH - RIGHT:g}" y="{HEIGHT - 6:g}">'
        f"{checks[0].checked_at:%Y-%m-%d}</text>"
    )
    bad = sum(not each.is_within_tolerance for each in checks)
    title = f"{len(checks)} checks in per cent off the standard, {bad} outside the tolerance"
    svg = (
        f'<svg class="check-plot" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img">'
        f"<title>{title}</title>{''.join(parts)}</svg>"
    )
    return mark_safe(svg)  # noqa: S308 - numbers and dates only


def _percent_off(check: InstrumentCheck) -> float:
    """Return by how many per cent the instrument showed too much, negative for too little."""
    reference, shown = check.reference_ra_cd_lx_m2, check.shown_ra_cd_lx_m2
    share = float(relative_difference(reference, shown)) * PERCENT
    return share if shown >= reference else -share


def _mark(x: float, y: float, check: InstrumentCheck) -> str:
    """Return a ring for a good check, a filled square for one outside its tolerance."""
    if check.is_within_tolerance:
        return f'<circle class="good" cx="{x:.1f}" cy="{y:.1f}" r="{HALF_MARK:g}"/>'
    return (
        f'<rect class="failed" x="{x - HALF_MARK:.1f}" y="{y - HALF_MARK:.1f}" '
        f'width="{2 * HALF_MARK:g}" height="{2 * HALF_MARK:g}"/>'
    )
