"""A real Chromium, driven by Playwright: the system's own, never a downloaded one."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import pytest
from playwright.sync_api import ViewportSize, sync_playwright

from tests.browser.watching import Watch
from tests.left_out import NO_CHROMIUM, find_chromium

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, BrowserContext, Page
    from pytest_django.live_server_helper import LiveServer

PHONE = ViewportSize(width=390, height=844)
DESK = ViewportSize(width=1440, height=900)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for all browser tests."""
    path = find_chromium()
    if path is None:
        pytest.skip(NO_CHROMIUM)
    # Chromium refuses to sandbox itself as root, and CI is root.
    switches = ["--no-sandbox"] if os.geteuid() == 0 else []
    with pytest.MonkeyPatch.context() as patch:
        # The driver runs an event loop in this thread, where Django would refuse every
        # query; a browser test queries from one thread at a time.
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        with sync_playwright() as driver:
            chromium = driver.chromium.launch(executable_path=path, args=switches)
            yield chromium
            chromium.close()


@pytest.fixture
def phone(browser: Browser, live_server: LiveServer) -> Iterator[Page]:
    """A page the size of a phone, touched by a finger."""
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True)
    yield from _watched(context, live_server.url)


@pytest.fixture
def desk(browser: Browser, live_server: LiveServer) -> Iterator[Page]:
    """A page the size of a desk's screen."""
    context = browser.new_context(viewport=DESK)
    yield from _watched(context, live_server.url)


def _watched(context: BrowserContext, site: str) -> Iterator[Page]:
    """Give a page; afterwards it must have asked nobody else and reported no error."""
    page = context.new_page()
    watch = Watch(page, site)
    yield page
    context.close()
    assert watch.problems == []
