"""Addresses of warranty: terms, faces that fall short, claims."""

from __future__ import annotations

from django.urls import path, register_converter

from inventory.web import warranty


class ClaimDoing:
    """What is done with a claim, in an address."""

    regex = "send|state|pass-on|answer|credit|withdraw"

    def to_python(self, value: str) -> str:
        """Return it as it is named."""
        return value

    def to_url(self, value: str) -> str:
        """Return it as the address has it."""
        return value


class ClaimFileKind(ClaimDoing):
    """The kind of a claim's file, in an address."""

    regex = "pdf|csv"


register_converter(ClaimDoing, "claim_doing")
register_converter(ClaimFileKind, "claim_file_kind")

urlpatterns = [
    path("warranty/", warranty.warranty, name="warranty"),
    path("warranty/lots/<int:shop_id>/", warranty.warranty_lot, name="warranty-lot"),
    path("warranty/terms/", warranty.term_list, name="warranty-terms"),
    path("warranty/terms/add/", warranty.term_add, name="warranty-term-add"),
    path("warranty/terms/<int:term_id>/", warranty.term_page, name="warranty-term"),
    path("warranty/claims/", warranty.claim_list, name="claim-list"),
    path("warranty/claims/<int:claim_id>/", warranty.claim_page, name="claim-page"),
    path(
        "warranty/claims/<int:claim_id>/<claim_doing:doing>/",
        warranty.claim_do,
        name="claim-do",
    ),
    path(
        "warranty/claims/<int:claim_id>/claim.<claim_file_kind:kind>",
        warranty.claim_file,
        name="claim-file",
    ),
]
