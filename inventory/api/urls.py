"""Addresses of the API."""

from django.urls import include, path
from rest_framework.routers import SimpleRouter

from inventory.api import (
    assessment,
    features,
    inspection,
    instruments,
    ordering,
    people,
    signs,
)

router = SimpleRouter()
router.register("signs", signs.SignViewSet, basename="api-sign")
router.register("standings", assessment.StandingViewSet, basename="api-standing")
router.register("inspections", inspection.InspectionViewSet, basename="api-inspection")
router.register("instruments", instruments.InstrumentViewSet, basename="api-instrument")
router.register("orders", ordering.OrderViewSet, basename="api-order")

urlpatterns = [
    path(
        "signs/<int:sign_id>/assessments/",
        assessment.SignAssessmentList.as_view(),
        name="api-sign-assessments",
    ),
    path("policy/", people.PolicyView.as_view(), name="api-policy"),
    path("collections/signs/items", features.SignItems.as_view(), name="api-sign-items"),
    path("", include(router.urls)),
]
