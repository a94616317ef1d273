"""Addresses of the work packages."""

from __future__ import annotations

from django.urls import path

from inventory.web import work_packages

urlpatterns = [
    path("packages/", work_packages.package_list, name="package-list"),
    path("packages/new/", work_packages.package_new, name="package-new"),
    path("packages/<int:package_id>/", work_packages.package_page, name="package-page"),
    path("packages/<int:package_id>/print/", work_packages.package_print, name="package-print"),
    path(
        "packages/<int:package_id>/change/",
        work_packages.package_change,
        name="package-change",
    ),
    path("packages/<int:package_id>/step/", work_packages.package_step, name="package-step"),
    path(
        "packages/<int:package_id>/stops/<int:stop_id>/",
        work_packages.package_stop,
        name="package-stop",
    ),
    path(
        "packages/<int:package_id>/stops/<int:stop_id>/result/",
        work_packages.stop_result,
        name="stop-result",
    ),
]
