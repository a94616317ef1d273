"""Addresses of the shop's pages, of the orders it shares with the agency, and hand-over."""

from __future__ import annotations

from django.urls import path, register_converter

from inventory.models import PressEvent
from inventory.web import (
    hand_over,
    hand_over_line,
    order_lines,
    ordering,
    presses,
    production,
    stock,
)


class PressEventKind:
    """A kind of press event, in an address."""

    regex = "|".join(PressEvent.Kind.values)

    def to_python(self, value: str) -> str:
        """Return the kind as it is stored."""
        return value

    def to_url(self, value: str) -> str:
        """Return the kind as the address has it."""
        return value


register_converter(PressEventKind, "press_event_kind")

urlpatterns = [
    path("board/", production.board_page, name="board"),
    path("orders/", ordering.order_list, name="order-list"),
    path(
        "programmes/<int:programme_id>/<int:year>/order/",
        hand_over.programme_order,
        name="programme-order",
    ),
    path("packages/<int:package_id>/order/", hand_over.package_order, name="package-order"),
    path("orders/hand-over/", hand_over.selection_order, name="selection-order"),
    path(
        "orders/hand-over/<int:position_id>/",
        hand_over_line.hand_over_line,
        name="hand-over-line",
    ),
    path("orders/<int:order_id>/", ordering.order_page, name="order-page"),
    path("orders/<int:order_id>/release/", ordering.order_release, name="order-release"),
    path("orders/<int:order_id>/amend/", ordering.order_amend, name="order-amend"),
    path("orders/<int:order_id>/cancel/", ordering.order_cancel, name="order-cancel"),
    path("orders/<int:order_id>/lines/add/", order_lines.order_line_add, name="order-line-add"),
    path(
        "orders/<int:order_id>/lines/<int:line_id>/", order_lines.order_line, name="order-line"
    ),
    path(
        "orders/<int:order_id>/lines/<int:line_id>/change/",
        order_lines.order_line_change,
        name="order-line-change",
    ),
    path(
        "orders/<int:order_id>/lines/<int:line_id>/artwork/",
        order_lines.order_artwork,
        name="order-artwork",
    ),
    path(
        "orders/<int:order_id>/lines/<int:line_id>/remove/",
        ordering.order_line_remove,
        name="order-line-remove",
    ),
    path("orders/<int:order_id>/run/", production.order_run, name="order-run"),
    path("runs/loaded/", production.run_loaded, name="run-loaded"),
    path("runs/<int:run_id>/", production.run_page, name="run-page"),
    path("presses/", presses.press_list, name="press-list"),
    path("presses/add/", presses.press_add, name="press-add"),
    path("presses/<int:press_id>/", presses.press_page, name="press-page"),
    path(
        "presses/<int:press_id>/<press_event_kind:kind>/",
        presses.press_event,
        name="press-event",
    ),
    path("stock/rolls/", stock.stock_rolls, name="stock-rolls"),
    path("stock/overlays/", stock.stock_overlays, name="stock-overlays"),
    path("stock/rolls/receive/", stock.roll_receive, name="roll-receive"),
    path("stock/overlays/receive/", stock.overlay_receive, name="overlay-receive"),
    path("stock/faces/", stock.stock_faces, name="stock-faces"),
    path("stock/faces/<int:sign_id>/spoilt/", stock.face_spoilt, name="face-spoilt"),
]
