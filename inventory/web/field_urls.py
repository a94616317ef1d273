"""Addresses of the field app; the worker's never changes, since phones ask for it by name."""

from __future__ import annotations

from django.urls import path

from inventory.web import field

urlpatterns = [
    path("field/", field.field_shell, name="field"),
    path("field/worker.js", field.field_worker, name="field-worker"),
    path("field/manifest.webmanifest", field.field_manifest, name="field-manifest"),
]
