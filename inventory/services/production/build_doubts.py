"""Where the press log says otherwise than the build that was frozen into an order line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.engineering.production.builds import build_doubts
from inventory.models import LayoutFace, OrderLine
from inventory.services.production.faces import frozen_build, logged_inks

if TYPE_CHECKING:
    from collections.abc import Sequence

    from inventory.engineering.production.press_log import LoadedSpan
    from inventory.models import PrintRun, SheetingRoll


def face_doubts(
    line: OrderLine | None,
    run: PrintRun | None,
    roll: SheetingRoll | None,
    spans: Sequence[LoadedSpan],
) -> tuple[str, ...]:
    """Return what the log of a face's own stretch of a run says otherwise than its build."""
    build = frozen_build(line) if line is not None else None
    if build is None or run is None or not spans:
        return ()
    return build_doubts(
        build,
        roll_color=roll.color if roll is not None else None,
        inks=logged_inks(run.press, spans),
        overlays=_overlays(spans),
    )


def run_doubts(run: PrintRun, roll: SheetingRoll, spans: Sequence[LoadedSpan]) -> list[str]:
    """Return what the log of a run says otherwise than the builds, with the lines it is of."""
    printed = LayoutFace.objects.filter(layout__print_run=run)
    lines = OrderLine.objects.filter(
        pk__in=printed.order_by().values("line"), build__isnull=False
    ).order_by("number")
    lines_of: dict[str, list[str]] = {}
    inks, overlays = logged_inks(run.press, spans), _overlays(spans)
    for line in lines:
        build = frozen_build(line)
        if build is None:
            continue
        for sentence in build_doubts(
            build, roll_color=roll.color, inks=inks, overlays=overlays
        ):
            lines_of.setdefault(sentence, []).append(str(line.number))
    return [
        f"Line{'s' * (len(numbers) > 1)} {', '.join(numbers)}: {sentence}"
        for sentence, numbers in lines_of.items()
    ]


def _overlays(spans: Sequence[LoadedSpan]) -> list[bool | None]:
    """Return for each stretch whether overlay film was on; none: not known."""
    return [
        span.loaded.overlay is not None if span.loaded.is_overlay_known else None
        for span in spans
    ]
