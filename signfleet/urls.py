"""Addresses of the site: pages, the API and its description."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

from inventory.api import errors as api_errors
from inventory.web import errors as web_errors

if TYPE_CHECKING:
    from django.http import HttpRequest, HttpResponseBase

API_PREFIX = "/api/"

urlpatterns = [
    path("api/v1/", include("inventory.api.urls")),
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="api-schema"),
    path("", include("inventory.web.urls")),
]

if settings.DEBUG:
    from django.conf.urls.static import static

    urlpatterns += static(settings.STATIC_URL, document_root=settings.STATIC_ROOT)


def page_not_found(request: HttpRequest, exception: Exception) -> HttpResponseBase:
    """Answer an address that is none: a program in the API's shape, a person with a page."""
    if request.path.startswith(API_PREFIX):
        return api_errors.unknown_address(request)
    return web_errors.page_not_found(request, exception)


def server_failed(request: HttpRequest) -> HttpResponseBase:
    """Answer a failure nobody expected in the shape its asker reads."""
    if request.path.startswith(API_PREFIX):
        return api_errors.server_failed()
    return web_errors.server_failed(request)


handler404 = page_not_found
handler500 = server_failed
