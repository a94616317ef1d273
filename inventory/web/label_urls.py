"""Addresses of new faces after the press: their checks, and labels for their backs."""

from __future__ import annotations

from django.urls import path

from inventory.web import face_checks, labels

urlpatterns = [
    path("labels/", labels.label_list, name="label-list"),
    path("labels/sheets/add/", labels.label_sheet_add, name="label-sheet-add"),
    path("labels/<int:batch_id>/", labels.label_batch, name="label-batch"),
    path("labels/<int:batch_id>.pdf", labels.label_batch_pdf, name="label-batch-pdf"),
    path("runs/<int:run_id>/checks/", face_checks.run_checks, name="run-checks"),
    path("faces/<int:sign_id>/check/", face_checks.face_check, name="face-check"),
    path("runs/<int:run_id>/labels/", labels.run_labels, name="run-labels"),
    path("l/<str:label>", labels.label_found, name="label-found"),
]
