"""Addresses of the pages about instruments and what they put in doubt."""

from __future__ import annotations

from django.urls import path

from inventory.web import flags, instruments

urlpatterns = [
    path("instruments/", instruments.instrument_list, name="instrument-list"),
    path("instruments/register/", instruments.instrument_register, name="instrument-register"),
    path(
        "instruments/<int:instrument_id>/", instruments.instrument_page, name="instrument-page"
    ),
    path(
        "instruments/<int:instrument_id>/check/",
        instruments.instrument_check,
        name="instrument-check",
    ),
    path(
        "instruments/<int:instrument_id>/certificate/",
        instruments.instrument_certificate,
        name="instrument-certificate",
    ),
    path(
        "instruments/<int:instrument_id>/tolerance/",
        instruments.instrument_tolerance,
        name="instrument-tolerance",
    ),
    path(
        "instruments/<int:instrument_id>/take-out-of-use/",
        instruments.instrument_retire,
        name="instrument-retire",
    ),
    path(
        "instruments/<int:instrument_id>/bring-back/",
        instruments.instrument_bring_back,
        name="instrument-bring-back",
    ),
    path("readings/to-settle/", flags.readings_to_settle, name="readings-to-settle"),
    path("refused/", flags.refused_list, name="refused-list"),
    path("refused/<int:entry_id>/settle/", flags.settle_entry, name="refused-settle"),
]
