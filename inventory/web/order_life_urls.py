"""Addresses of what passes between agency and shop about an order."""

from __future__ import annotations

from django.urls import path

from inventory.web import order_life, proofs

urlpatterns = [
    path("orders/<int:order_id>/accept/", order_life.order_accept, name="order-accept"),
    path("orders/<int:order_id>/ask/", order_life.order_ask, name="order-ask"),
    path(
        "orders/<int:order_id>/questions/<int:question_id>/",
        order_life.order_answer,
        name="order-answer",
    ),
    path(
        "orders/<int:order_id>/lines/<int:line_id>/proofs/",
        proofs.line_proofs,
        name="line-proofs",
    ),
    path("proofs/<int:proof_id>/", proofs.proof_file, name="proof-file"),
    path("orders/<int:order_id>/ship/", order_life.order_ship, name="order-ship"),
    path("shipments/<int:shipment_id>/", order_life.shipment_page, name="shipment-page"),
    path(
        "shipments/<int:shipment_id>/receive/",
        order_life.shipment_receive,
        name="shipment-receive",
    ),
    path("shipments/<int:shipment_id>.pdf", order_life.shipment_pdf, name="shipment-pdf"),
]
