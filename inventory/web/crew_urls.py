"""Addresses of the crew's pages."""

from __future__ import annotations

from django.urls import path

from inventory.web import added_work, crew, inspection, night_visual, road_safety

urlpatterns = [
    path("near/", crew.near_me, name="near-me"),
    path("crew/before-you-start/", road_safety.road_safety, name="road-safety"),
    path("crew/colours/", crew.field_theme, name="field-theme"),
    path("crew/signs/<int:sign_id>/", crew.crew_sign, name="crew-sign"),
    path(
        "crew/signs/<int:sign_id>/readings/",
        inspection.record_readings,
        name="record-readings",
    ),
    path("crew/signs/<int:sign_id>/damage/", inspection.report_damage, name="report-damage"),
    path(
        "crew/signs/<int:sign_id>/night/",
        night_visual.record_night_visual,
        name="record-night-visual",
    ),
    path("crew/signs/<int:sign_id>/take-down/", crew.remove_face, name="remove-face"),
    path("crew/positions/<int:position_id>/work/", added_work.add_work_here, name="add-work"),
    path("crew/positions/<int:position_id>/put-up/", crew.install_face, name="install-face"),
]
