"""Django's entry to the app."""

from django.apps import AppConfig


class InventoryConfig(AppConfig):
    """The inventory of sign faces and everything known about them."""

    name = "inventory"
    default_auto_field = "django.db.models.BigAutoField"
