"""Addresses of the API."""

from django.urls import include, path
from rest_framework.routers import SimpleRouter

from inventory.api import (
    assessment,
    exchange,
    features,
    field,
    forecast,
    inspection,
    instruments,
    ordering,
    people,
    photo_uploads,
    programme,
    signs,
)

router = SimpleRouter()
router.register("signs", signs.SignViewSet, basename="api-sign")
router.register("standings", assessment.StandingViewSet, basename="api-standing")
router.register("inspections", inspection.InspectionViewSet, basename="api-inspection")
router.register("instruments", instruments.InstrumentViewSet, basename="api-instrument")
router.register("forecasts", forecast.SignForecastViewSet, basename="api-forecast")
router.register("cohorts", forecast.CohortViewSet, basename="api-cohort")
router.register("lots", forecast.LotFindingViewSet, basename="api-lot")
router.register("programmes", programme.ProgrammeViewSet, basename="api-programme")
router.register("orders", ordering.OrderViewSet, basename="api-order")

urlpatterns = [
    path(
        "signs/<int:sign_id>/assessments/",
        assessment.SignAssessmentList.as_view(),
        name="api-sign-assessments",
    ),
    path(
        "programmes/<int:programme_id>/replacements/",
        programme.ReplacementList.as_view(),
        name="api-replacements",
    ),
    path(
        "programmes/<int:programme_id>/replacements/<int:planned_id>/lock/",
        programme.ReplacementLock.as_view(),
        name="api-replacement-lock",
    ),
    path("orders/<int:pk>/questions/", ordering.QuestionList.as_view(), name="api-questions"),
    path(
        "orders/<int:pk>/questions/<int:question_id>/answer/",
        ordering.AnswerView.as_view(),
        name="api-answer",
    ),
    path("orders/<int:pk>/shipments/", ordering.ShipmentList.as_view(), name="api-shipments"),
    path(
        "shipments/<int:pk>/faces/",
        ordering.ShipmentFaceList.as_view(),
        name="api-shipment-faces",
    ),
    path(
        "shipments/<int:pk>/receive/",
        ordering.ReceiveView.as_view(),
        name="api-shipment-receive",
    ),
    path("policy/", people.PolicyView.as_view(), name="api-policy"),
    path("collections/signs/items", features.SignItems.as_view(), name="api-sign-items"),
    path("devices/", exchange.DeviceList.as_view(), name="api-devices"),
    path("devices/me/", exchange.WhoAmI.as_view(), name="api-devices-me"),
    path("operations", exchange.OperationList.as_view(), name="api-operations"),
    path("operations/ping", exchange.Ping.as_view(), name="api-ping"),
    path("field/basics", field.FieldBasics.as_view(), name="api-field-basics"),
    path("field/signs", field.FieldSigns.as_view(), name="api-field-signs"),
    path("field/stock", field.FieldStock.as_view(), name="api-field-stock"),
    path(
        "field/photos/<int:photo_id>/small",
        field.SmallPhoto.as_view(),
        name="api-field-photo",
    ),
    path(
        "photo-uploads/<uuid:photo_uuid>",
        photo_uploads.PhotoUploadView.as_view(),
        name="api-photo-upload",
    ),
    path("", include(router.urls)),
]
