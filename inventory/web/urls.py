"""Addresses of the pages."""

from django.urls import include, path

from inventory.web import people

urlpatterns = [
    path("sign-in/", people.SignIn.as_view(), name="sign-in"),
    path("sign-out/", people.SignOut.as_view(), name="sign-out"),
    path("role/", people.switch_role, name="switch-role"),
    path("", people.home, name="home"),
    path("", include("inventory.web.shop_urls")),
    path("", include("inventory.web.crew_urls")),
]
