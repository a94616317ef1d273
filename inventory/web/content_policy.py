"""What a page may load: this site's own files, and map tiles only where the site names them."""

from __future__ import annotations

from http import HTTPStatus
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from django.conf import settings

if TYPE_CHECKING:
    from collections.abc import Callable

    from django.http import HttpRequest, HttpResponseBase

HEADER = "Content-Security-Policy"


class ContentPolicyMiddleware:
    """Tells the browser to ask nobody else, whatever a page or a typed text might hold."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        answer = self.get_response(request)
        # Django's own pages about an error, for a developer, are styled and scripted inline.
        if not (settings.DEBUG and answer.status_code >= HTTPStatus.BAD_REQUEST):
            answer.setdefault(HEADER, content_policy(settings.MAP_TILE_ADDRESS))
        return answer


def content_policy(tile_address: str, *, with_wasm: bool = False) -> str:
    """
    Return the policy; a tile address such as https://{s}.tiles.example/… opens its host.

    The field page also compiles the QR reader's WebAssembly, which this site serves.
    """
    pictures = "'self' data: blob:"
    if tile_address:
        parts = urlsplit(tile_address)
        pictures += f" {parts.scheme}://{parts.netloc.replace('{s}', '*')}"
    return "; ".join(
        (
            "default-src 'self'",
            *(("script-src 'self' 'wasm-unsafe-eval'",) if with_wasm else ()),
            f"img-src {pictures}",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )
