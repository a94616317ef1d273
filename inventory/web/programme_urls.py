"""Addresses of the programmes and the work packages."""

from __future__ import annotations

from django.urls import path

from inventory.web import (
    crew_days,
    crews,
    package_downloads,
    planned_lists,
    programme_actions,
    programme_compare,
    programme_report,
    programmes,
    work_bases,
    work_packages,
)

urlpatterns = [
    path("programmes/", programmes.programme_list, name="programme-list"),
    path("programmes/new/", programme_actions.programme_new, name="programme-new"),
    path("programmes/work-basis/", work_bases.work_basis_page, name="work-basis"),
    path("programmes/<int:programme_id>/", programmes.programme_page, name="programme-page"),
    path(
        "programmes/<int:programme_id>/step/",
        programme_actions.programme_step,
        name="programme-step",
    ),
    path(
        "programmes/<int:programme_id>/choices/<int:planned_id>/",
        programme_actions.programme_choice,
        name="programme-choice",
    ),
    path(
        "programmes/<int:programme_id>/progress/",
        programmes.programme_progress,
        name="programme-progress",
    ),
    path(
        "programmes/<int:programme_id>/<int:year>.csv",
        planned_lists.year_csv,
        name="programme-year-csv",
    ),
    path(
        "programmes/<int:programme_id>/<int:year>.geojson",
        planned_lists.year_geojson,
        name="programme-year-geojson",
    ),
    path(
        "programmes/<int:programme_id>/<int:year>/",
        programmes.programme_year,
        name="programme-year",
    ),
    path(
        "programmes/<int:programme_id>/compare/<int:other_id>/",
        programme_compare.compare_page,
        name="programme-compare",
    ),
    path(
        "programmes/<int:programme_id>/report/",
        programme_report.report_page,
        name="programme-report",
    ),
    path(
        "programmes/<int:programme_id>/report.pdf",
        programme_report.report_pdf,
        name="programme-report-pdf",
    ),
    path(
        "programmes/<int:programme_id>/report.csv",
        programme_report.report_csv,
        name="programme-report-csv",
    ),
    path("crews/", crews.crew_list, name="crew-list"),
    path("crews/new/", crews.crew_new, name="crew-new"),
    path("crews/<int:crew_id>/", crews.crew_page, name="crew-page"),
    path("crews/<int:crew_id>/step/", crews.crew_step, name="crew-step"),
    path(
        "programmes/<int:programme_id>/<int:year>/crew-days/",
        crew_days.crew_days,
        name="crew-days",
    ),
    path(
        "programmes/<int:programme_id>/<int:year>/crew-days/plan/",
        crew_days.crew_days_plan,
        name="crew-days-plan",
    ),
    path(
        "programmes/<int:programme_id>/<int:year>/crew-days/step/",
        crew_days.crew_days_step,
        name="crew-days-step",
    ),
    path(
        "programmes/<int:programme_id>/<int:year>/crew-days/progress/",
        crew_days.crew_days_progress,
        name="crew-days-progress",
    ),
    path(
        "programmes/<int:programme_id>/<int:year>/crew-days/left-out/",
        crew_days.crew_days_left,
        name="crew-days-left",
    ),
    path(
        "programmes/<int:programme_id>/<int:year>/crew-days/<int:number>/",
        crew_days.crew_day_page,
        name="crew-day-page",
    ),
    path("packages/", work_packages.package_list, name="package-list"),
    path("packages/new/", work_packages.package_new, name="package-new"),
    path("packages/<int:package_id>/", work_packages.package_page, name="package-page"),
    path("packages/<int:package_id>/print/", work_packages.package_print, name="package-print"),
    path("packages/<int:package_id>.gpx", package_downloads.package_as_gpx, name="package-gpx"),
    path(
        "packages/<int:package_id>.geojson",
        package_downloads.package_as_geojson,
        name="package-geojson",
    ),
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
