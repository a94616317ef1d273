"""Addresses of the site: pages, the API and its description."""

from django.conf import settings
from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView

urlpatterns = [
    path("api/v1/", include("inventory.api.urls")),
    path("api/v1/schema/", SpectacularAPIView.as_view(), name="api-schema"),
    path("", include("inventory.web.urls")),
]

if settings.DEBUG:
    from django.conf.urls.static import static

    urlpatterns += static(settings.STATIC_URL, document_root=settings.STATIC_ROOT)

handler404 = "inventory.web.errors.page_not_found"
handler500 = "inventory.web.errors.server_failed"
