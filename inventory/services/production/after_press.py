"""What became of a face after the press, until it was received: rows with who and when."""

from __future__ import annotations

from typing import TYPE_CHECKING

from inventory.models import FaceCheck, FaceLabel, ShipmentFace
from inventory.services.production.steps import done_on

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import FaceStep, Organisation, Sign, User

NOT_KNOWN = "not known"


def rows_after_press(sign: Sign) -> tuple[tuple[str, str], ...]:
    """
    Return steps, blank, check, label, shipping and receipt of a face as pairs of words.

    Every row is filled; what is not known says so. Moments are in the clock of the shop that
    made the face. Four queries, and one for its blank.
    """
    done = sorted(
        done_on([sign])[sign.pk].values(), key=lambda each: (each.done_at, each.step.place)
    )
    shop = sign.maker
    return (
        *_step_rows(done, shop),
        ("blank", _blank_words(sign, done)),
        ("check of the new face", _check_words(sign, shop)),
        ("label made", _label_words(sign, shop)),
        *_way_rows(sign, shop),
    )


def _step_rows(done: list[FaceStep], shop: Organisation | None) -> list[tuple[str, str]]:
    if not done:
        return [("steps after the press", NOT_KNOWN)]
    return [
        (f"step: {each.step.name}", _moment(each.done_at, each.recorded_by, shop))
        for each in done
    ]


def _blank_words(sign: Sign, done: list[FaceStep]) -> str:
    """Return the blank's size and thickness, as far as they are known, and if reclaimed."""
    panel = sign.panel
    if panel is None:
        return NOT_KNOWN
    if panel.width_in is None or panel.height_in is None:
        size = "size not known"
    else:
        size = f"{panel.width_in:g} × {panel.height_in:g} in"
    if panel.thickness_in is None:
        thickness = "thickness not known"
    else:
        thickness = f"{panel.thickness_in:.3f} in thick"
    parts = [size, thickness]
    if panel.material:
        parts.append(panel.material)
    if panel.holes:
        parts.append(f"holes {panel.holes}")
    if any(each.blank is not None and each.blank.is_reclaimed for each in done):
        parts.append("reclaimed")
    return ", ".join(parts)


def _check_words(sign: Sign, shop: Organisation | None) -> str:
    """Return the newest check, which is the one that counts."""
    checks = FaceCheck.objects.filter(sign=sign).select_related("checked_by")
    check = checks.order_by("checked_at", "pk").last()
    if check is None:
        return NOT_KNOWN
    outcome = "passed" if check.is_passed else "failed"
    readings = f"readings: {check.get_readings_display()}"
    return f"{outcome}, {readings}; {_moment(check.checked_at, check.checked_by, shop)}"


def _label_words(sign: Sign, shop: Organisation | None) -> str:
    """Return when its label was made the last time, and how often."""
    rows = FaceLabel.objects.filter(sign=sign).select_related("batch__made_by")
    labels = list(rows.order_by("batch__made_at", "pk"))
    if not labels:
        return NOT_KNOWN
    batch = labels[-1].batch
    words = _moment(batch.made_at, batch.made_by, shop)
    return words if len(labels) == 1 else f"{len(labels)} times, last {words}"


def _way_rows(sign: Sign, shop: Organisation | None) -> list[tuple[str, str]]:
    shipped = received = NOT_KNOWN
    rows = ShipmentFace.objects.filter(sign=sign).select_related(
        "shipment__order", "shipment__shipped_by", "receipt__received_by"
    )
    face = rows.first()
    if face is not None:
        shipment = face.shipment
        moment = _moment(shipment.shipped_at, shipment.shipped_by, shop)
        shipped = f"packing list {shipment.order.number}/{shipment.number}, {moment}"
        receipt = getattr(face, "receipt", None)
        if receipt is not None:
            moment = _moment(receipt.received_at, receipt.received_by, shop)
            received = f"{receipt.get_outcome_display()}, {moment}"
    return [("shipped", shipped), ("received", received)]


def _moment(at: datetime, by: User | None, shop: Organisation | None) -> str:
    """Return when, in the clock of the shop that made the face, and who."""
    when = NOT_KNOWN if shop is None else shop.clock_words(at)
    return f"{when}, by {by}" if by is not None else f"{when}, by whom is not known"
