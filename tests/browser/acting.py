"""Signing in and looking at pages in browser tests."""

from __future__ import annotations

from typing import TYPE_CHECKING

from tests.factories import make_person

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from inventory.models import Organisation, User

PASSWORD = "a-long-test-word"


def sign_in(page: Page, site: str, organisation: Organisation, role: str) -> User:
    """Sign a new person in through the page."""
    person = make_person(organisation, role)
    page.goto(f"{site}/sign-in/")
    page.fill("[name=username]", person.username)
    page.fill("[name=password]", PASSWORD)
    page.click("main button.primary")
    return person


def overflow_px(page: Page) -> int:
    """Return by how much a page is wider than its window."""
    width: int = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    return width
