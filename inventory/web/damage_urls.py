"""Addresses of damage."""

from __future__ import annotations

from django.urls import path

from inventory.web import damage

urlpatterns = [
    path("damage/", damage.list_page, name="damage-list"),
    path("damage/new/", damage.new_page, name="damage-new"),
    path("damage/times/", damage.times_page, name="damage-times"),
    path("damage/<int:damage_id>/", damage.damage_page, name="damage-page"),
    path("damage/<int:damage_id>/close/", damage.close, name="damage-close"),
    path("damage/<int:damage_id>/reopen/", damage.reopen, name="damage-reopen"),
    path("damage/<int:damage_id>/correct/", damage.correct, name="damage-correct"),
    path("damage/<int:damage_id>/package/", damage.into_package, name="damage-package"),
]
