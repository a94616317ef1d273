"""Addresses of layouts on rolls and of what they go by."""

from __future__ import annotations

from django.urls import path

from inventory.web import layout_settings, layouts, shop_prices

urlpatterns = [
    path("layouts/", layouts.layout_list, name="layout-list"),
    path("orders/<int:order_id>/layouts/new/", layouts.layout_new, name="layout-new"),
    path("layouts/<int:plan_id>/", layouts.layout_page, name="layout-page"),
    path("layouts/<int:plan_id>/progress/", layouts.layout_progress, name="layout-progress"),
    path("layouts/<int:plan_id>/again/", layouts.layout_again, name="layout-again"),
    path("layouts/<int:plan_id>/faces/", layouts.layout_faces, name="layout-faces"),
    path("layouts/<int:plan_id>/stop/", layouts.layout_stop, name="layout-stop"),
    path("layouts/<int:plan_id>/freeze/", layouts.layout_freeze, name="layout-freeze"),
    path("layouts/<int:plan_id>/open/", layouts.layout_open, name="layout-open"),
    path("layouts/<int:plan_id>/drop/", layouts.layout_drop, name="layout-drop"),
    path("layouts/<int:plan_id>.pdf", layouts.layout_drawing_pdf, name="layout-pdf"),
    path("layouts/<int:plan_id>/<int:number>/run/", layouts.layout_run, name="layout-run"),
    path("stock/prices/", shop_prices.shop_prices, name="shop-prices"),
    path("stock/thickness/", shop_prices.thickness_rule, name="thickness-rule"),
    path("stock/turns/", layout_settings.turns_list, name="turns-list"),
    path(
        "stock/turns/<str:sheeting_type>/<str:optics>/",
        layout_settings.turns_set,
        name="turns-set",
    ),
    path(
        "presses/<int:press_id>/measures/",
        layout_settings.press_measures,
        name="press-measures",
    ),
]
