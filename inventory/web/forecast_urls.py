"""Addresses of what the fleet's own readings say: due dates, cohorts, lots and the rest."""

from __future__ import annotations

from django.urls import path

from inventory.web import (
    backtests,
    cohorts,
    control_signs,
    due_dates,
    lives,
    losses,
    lots,
    measuring,
)

urlpatterns = [
    path("forecast/", due_dates.due_dates_page, name="due-dates"),
    path("forecast/cohorts/", cohorts.cohort_list, name="cohort-list"),
    path("forecast/cohorts/<int:fit_id>/", cohorts.cohort_page, name="cohort-page"),
    path("forecast/lives/", lives.lives_page, name="lives"),
    path("forecast/lives/set/", lives.set_life, name="set-expected-life"),
    path("forecast/losses/", losses.losses_page, name="losses"),
    path("forecast/control-signs/", control_signs.control_signs_page, name="control-signs"),
    path(
        "forecast/control-signs/<int:group_id>/add/",
        control_signs.add_control_signs,
        name="add-control-signs",
    ),
    path("forecast/to-measure/", measuring.to_measure, name="to-measure"),
    path("forecast/back-test/", backtests.back_test_page, name="back-test"),
    path("forecast/lots/", lots.lot_list, name="lot-list"),
    path("forecast/lots/<int:finding_id>/", lots.lot_page, name="lot-page"),
]
