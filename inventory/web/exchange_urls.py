"""Addresses of the pages about what comes from phones, and about records made twice."""

from __future__ import annotations

from django.urls import path

from inventory.web import exchange, merging, phones, refused_photos, wrong_data

urlpatterns = [
    path("from-phones/", exchange.from_phones, name="from-phones"),
    path("from-phones/<int:operation_id>/", exchange.operation_page, name="phone-entry"),
    path("from-phones/photos/", refused_photos.refused_list, name="refused-photos"),
    path(
        "from-phones/photos/<int:upload_id>/settle/",
        refused_photos.settle,
        name="refused-photo-settle",
    ),
    path(
        "from-phones/photos/<int:upload_id>/content/",
        refused_photos.content,
        name="refused-photo-content",
    ),
    path("said-to-be-wrong/", wrong_data.wrong_data, name="wrong-data"),
    path(
        "said-to-be-wrong/<int:flag_id>/settle/",
        wrong_data.settle_flag,
        name="wrong-data-settle",
    ),
    path("signs/added/", wrong_data.added_signs, name="added-signs"),
    path("phones/", phones.phone_list, name="phone-list"),
    path("phones/<int:device_id>/", phones.phone_page, name="phone-page"),
    path("signs/<int:sign_id>/recorded-twice/", merging.same_sign, name="same-sign"),
    path("recorded-twice/", merging.merge_list, name="merge-list"),
    path(
        "recorded-twice/signs/<int:kept_id>/<int:duplicate_id>/",
        merging.merge_signs_page,
        name="merge-signs",
    ),
    path(
        "recorded-twice/supports/<int:kept_id>/<int:duplicate_id>/",
        merging.merge_supports_page,
        name="merge-supports",
    ),
    path(
        "recorded-twice/signs/<int:merge_id>/undo/",
        merging.undo_merge_of_signs,
        name="undo-sign-merge",
    ),
    path(
        "recorded-twice/supports/<int:merge_id>/undo/",
        merging.undo_merge_of_supports,
        name="undo-support-merge",
    ),
]
