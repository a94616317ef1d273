"""What a page does behind its tester's back: whom it asks, and what it complains of."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from playwright.sync_api import ConsoleMessage, Page, Request, Response

OWN_SCHEMES = ("data:", "blob:")
# A refused form is a page of its own and tested as one; Chromium notes its status as well.
STATUS_NOTE = "Failed to load resource"
LEAST_ERROR_STATUS = 400


class Watch:
    """Collects requests to others, failed files, script errors and console errors."""

    def __init__(self, page: Page, site: str) -> None:
        self.site = site
        self.problems: list[str] = []
        page.on("request", self._request)
        page.on("response", self._response)
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.problems.append(f"script: {error}"))

    def _request(self, request: Request) -> None:
        if not request.url.startswith((self.site, *OWN_SCHEMES)):
            self.problems.append(f"asked somebody else: {request.url}")

    def _response(self, response: Response) -> None:
        is_page = response.request.resource_type == "document"
        if response.status >= LEAST_ERROR_STATUS and not is_page:
            self.problems.append(f"{response.status} for {response.url}")

    def _console(self, message: ConsoleMessage) -> None:
        if message.type == "error" and STATUS_NOTE not in message.text:
            self.problems.append(f"console: {message.text}")
