"""Addresses of labels for the backs of faces."""

from __future__ import annotations

from django.urls import path

from inventory.web import labels

urlpatterns = [
    path("labels/", labels.label_list, name="label-list"),
    path("labels/sheets/add/", labels.label_sheet_add, name="label-sheet-add"),
    path("labels/<int:batch_id>/", labels.label_batch, name="label-batch"),
    path("labels/<int:batch_id>.pdf", labels.label_batch_pdf, name="label-batch-pdf"),
    path("runs/<int:run_id>/labels/", labels.run_labels, name="run-labels"),
    path("l/<str:label>", labels.label_found, name="label-found"),
]
