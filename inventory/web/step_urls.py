"""Addresses of how faces are built, of the steps after the press, and of blanks."""

from __future__ import annotations

from django.urls import path

from inventory.web import builds, face_losses, steps

urlpatterns = [
    path("shop/builds/", builds.build_list, name="build-list"),
    path("shop/builds/add/", builds.build_set, name="build-add"),
    path("shop/builds/<int:build_id>/", builds.build_set, name="build-set"),
    path("shop/steps/", steps.step_list, name="step-list"),
    path("shop/steps/add/", steps.step_set, name="step-add"),
    path("shop/steps/<int:step_id>/", steps.step_set, name="step-set"),
    path("runs/<int:run_id>/steps/", steps.run_steps, name="run-steps"),
    path("faces/<int:sign_id>/steps/", steps.face_steps, name="face-steps"),
    path("stock/blanks/", steps.stock_blanks, name="stock-blanks"),
    path("stock/blanks/<int:blank_id>/", steps.blank_page, name="blank-page"),
    path("stock/losses/", face_losses.face_losses, name="face-losses"),
]
