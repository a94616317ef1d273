"""What printing a layout takes: time, ink by colour, and at which face an ink runs out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.engineering.ordering.estimate import (
    Estimate,
    FaceToPrint,
    SpotChannel,
    estimate_run,
)
from inventory.engineering.ordering.outlines import face_outline
from inventory.engineering.standards.vocabulary import Shape
from inventory.models import InkChannel, InkKind
from inventory.services.production.stock_left import containers_left
from inventory.services.production.what_was_on import loaded_at

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from inventory.models import OrderLine, PlannedFace, Press
    from inventory.services.ordering.layouts.looking import LoadView


def estimate_of(
    press: Press, views: Sequence[LoadView], *, now: datetime | None = None
) -> Estimate | None:
    """
    Return what the loads of a layout that are not printed take, one after the other.

    What is left of an ink is that of the containers in the press now.
    """
    faces: dict[int, PlannedFace] = {}
    for view in views:
        if getattr(view.load, "printed", None) is None:
            for piece in view.pieces:
                faces.setdefault(piece.face_id, piece.face)
    if not faces:
        return None
    return estimate_run(
        [_face(each) for each in faces.values()],
        _channels(press, now or timezone.now()),
        rate_ft2_per_h=press.rate_ft2_per_h,
        setup_minutes=press.setup_minutes,
    )


def _face(face: PlannedFace) -> FaceToPrint:
    line = face.line
    shape = Shape(line.shape) if line.shape else None
    outline = face_outline(shape, line.width_in, line.height_in)
    box = outline.rectangle_area_ft2
    area = box if outline.shape_area_ft2 is None else outline.shape_area_ft2
    return FaceToPrint(
        key=face.number, area_ft2=area, box_ft2=box, printed_colors=printed_colors(line)
    )


def printed_colors(line: OrderLine) -> tuple[str, ...]:
    """Return the colours of a line that its sheeting does not have by itself."""
    asked = (line.background_color, line.legend_color, line.secondary_color)
    return tuple(sorted({color for color in asked if color and color != line.base_color}))


def _channels(press: Press, now: datetime) -> list[SpotChannel]:
    inside = loaded_at(press, now).containers
    left = containers_left(inside.values()) if inside else {}
    rows = InkChannel.objects.filter(press=press, is_in_use=True, kind=InkKind.SPOT)
    channels = []
    for each in rows.order_by("name"):
        container = inside.get(each.name)
        channels.append(
            SpotChannel(
                name=each.name,
                color=each.color,
                ml_per_m2=each.ml_per_m2,
                cover_share=each.cover_share,
                left_ml=left[container.pk].left_ml if container is not None else None,
            )
        )
    return channels
