"""The demo scenario: an invented county and shop, made by code and labelled as invented."""

from inventory.services.demo.logins import DemoLogin, demo_logins

__all__ = ["DemoLogin", "demo_logins"]
