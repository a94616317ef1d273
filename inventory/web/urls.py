"""Addresses of the pages."""

from django.urls import include, path

from inventory.web import (
    assessment,
    home,
    importing,
    logbook,
    people,
    places,
    rules,
    signs,
    standards,
)

urlpatterns = [
    path("", people.home, name="home"),
    path("sign-in/", people.SignIn.as_view(), name="sign-in"),
    path("sign-out/", people.SignOut.as_view(), name="sign-out"),
    path("role/", people.switch_role, name="switch-role"),
    path("today/", home.overview_page, name="overview"),
    path("signs/", signs.sign_list, name="sign-list"),
    path("signs/map/", places.sign_map, name="sign-map"),
    path("signs/map/data/", places.sign_map_data, name="sign-map-data"),
    path("signs/map/roads/", places.road_data, name="road-data"),
    path("signs/<int:sign_id>/", signs.sign_page, name="sign-page"),
    path("signs/<int:sign_id>/decide/", assessment.decide, name="decide"),
    path("due/", assessment.due_list, name="due-list"),
    path("imports/", importing.import_list, name="import-list"),
    path("imports/<int:run_id>/", importing.import_page, name="import-page"),
    path(
        "imports/<int:run_id>/settle/<int:settlement_id>/",
        importing.settle_change,
        name="settle",
    ),
    path("rules/", standards.rules_page, name="rules"),
    path("rules/next/", rules.next_rules, name="next-rules"),
    path("rules/levels/", rules.set_own_level, name="set-own-level"),
    path("photos/<int:photo_id>/", signs.sign_photo, name="sign-photo"),
    path("logbook/", logbook.logbook_page, name="logbook"),
    path("help/", home.help_page, name="help"),
    path("", include("inventory.web.shop_urls")),
    path("", include("inventory.web.crew_urls")),
    path("", include("inventory.web.instrument_urls")),
]
