"""The packing list of a shipment: what is in it, for the driver and for who receives it."""

from __future__ import annotations

from typing import IO, TYPE_CHECKING

from inventory.interchange.pdf_pages import head, tables, text, write_pdf

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from reportlab.platypus import Flowable

    from inventory.models import Shipment, Sign

# Texas DOT sign manual, as read for shop_practice.
HANDLING = (
    "Keep faces dry, under cover, off the ground and upright, none touching the next; in "
    "transport wrap each in heavy paper or part them in grooved racks; no waxed paper (Texas "
    "DOT sign manual). Panels are heavy and have sharp edges: gloves, two people for large "
    "ones, and your own rules."
)


def write_packing_list(
    stream: IO[bytes], shipment: Shipment, faces: Sequence[Sign], *, foot: str
) -> None:
    """Write the packing list of a shipment; ``faces`` with their order line's number."""
    order = shipment.order
    name = f"{order.number}/{shipment.number}"
    write_pdf(
        stream,
        _story(shipment, faces, name),
        title=f"Packing list {name}",
        author=str(order.shop),
        subject=f"Sign faces for {order.agency}",
        foot=foot,
    )


def _story(shipment: Shipment, faces: Sequence[Sign], name: str) -> Iterator[Flowable]:
    order = shipment.order
    yield text(f"Packing list {name}", 15, bold=True)
    yield text(
        f"From {order.shop} to {order.agency}; order {order.number} {order.title}".strip()
    )
    by = f", {shipment.shipped_by}" if shipment.shipped_by else ""
    yield text(f"Shipped {order.shop.clock_words(shipment.shipped_at)}{by}")
    if shipment.note:
        yield text(shipment.note)
    yield from head(f"{len(faces)} faces")
    yield from tables(
        ("Label id", "Line", "Code", "Size, in", "Legend", "Whole?"),
        [
            (
                sign.label_id or "none",
                str(sign.layout_face.line.number),
                f"{sign.sign_code}{sign.variant}",
                f"{sign.width_in:g} × {sign.height_in:g}",
                sign.legend_text,
                "yes / no",
            )
            for sign in faces
        ],
        (1.0, 0.5, 1.1, 0.9, 2.5, 1.0),
        right=(1,),
    )
    yield from head("On the way and in store")
    yield text(HANDLING, 8.5)
    yield text("Received on ______________ by ____________________________", 9)
