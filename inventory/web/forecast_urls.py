"""Addresses of what the fleet's own readings say: due dates, cohorts, lots and the rest."""

from __future__ import annotations

from django.urls import path

from inventory.web import due_dates, lots

urlpatterns = [
    path("forecast/", due_dates.due_dates_page, name="due-dates"),
    path("forecast/lots/", lots.lot_list, name="lot-list"),
    path("forecast/lots/<int:finding_id>/", lots.lot_page, name="lot-page"),
]
