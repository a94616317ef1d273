"""A crew's phone with its work on it, acted on as a thumb does."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils import timezone
from playwright.sync_api import ViewportSize, expect

from inventory.models import Role
from inventory.services.work_packages import WantedStop, hand_out, make_package
from tests.browser.acting import sign_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from playwright.sync_api import Browser, BrowserContext, Page

    from inventory.models import Organisation, Position, User, WorkPackage

PHONE = ViewportSize(width=390, height=844)
HEADING = "[data-screen] h1"
SAVED = "[data-said]"


def hand_out_package(
    agency: Organisation, positions: Sequence[Position], task: str = "read"
) -> WorkPackage:
    """Give any crew of an agency today's stops."""
    package = make_package(
        organisation=agency,
        title="North loop",
        work_on=agency.day_of(timezone.now()),
        stops=[WantedStop(position=each, task=task) for each in positions],
    )
    return hand_out(package=package)


class CrewPhone:
    """The field app in a browser of the size of a phone."""

    def __init__(
        self,
        browser: Browser,
        site: str,
        *,
        latitude_deg: float = 43.0,
        longitude_deg: float = -89.5,
        accuracy_m: float = 6,
    ) -> None:
        self.site = site
        self.context: BrowserContext = browser.new_context(
            viewport=PHONE,
            has_touch=True,
            is_mobile=True,
            accept_downloads=True,
            geolocation={
                "latitude": latitude_deg,
                "longitude": longitude_deg,
                "accuracy": accuracy_m,
            },
            permissions=["geolocation"],
        )
        self.page: Page = self.context.new_page()
        self.page.set_default_timeout(15_000)
        self.errors: list[str] = []
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))

    def prepare(self, agency: Organisation, role: str = Role.CREW) -> User:
        """Sign a new person in, take the first package along, and read the reminder."""
        person = sign_in(self.page, self.site, agency, role)
        self.page.goto(f"{self.site}/field/")
        # From here on the app comes from the phone itself.
        assert self.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        self.page.goto(f"{self.site}/field/#/take-along")
        self.page.reload()
        self.page.click("text=Take my stops along")
        self.page.wait_for_selector(f"{SAVED} >> text=on this phone")
        self.show("#/check")
        self.page.click("text=I have read this")
        self.wait_for_heading("Check an instrument")
        self.show("#/today")
        expect(self.page.locator(HEADING)).to_contain_text("Today")
        return person

    def show(self, address: str) -> None:
        """Show a screen of the app."""
        self.page.evaluate("(address) => { window.location.hash = address; }", address)
        self.page.wait_for_function(
            "(address) => window.location.hash.startsWith(address.split('?')[0]) "
            "|| window.location.hash.startsWith('#/safety')",
            arg=address,
        )

    def wait_for_heading(self, words: str) -> None:
        """Wait for the screen with a heading."""
        expect(self.page.locator(HEADING)).to_have_text(words)

    def save(self) -> None:
        """Tap the screen's one action and wait until what was recorded is on this phone."""
        before = self.page.inner_text(HEADING)
        self.page.click("[data-save]")
        self.page.wait_for_selector(f"{SAVED} >> text=on this phone")
        expect(self.page.locator(HEADING)).not_to_have_text(before)

    def go_offline(self) -> None:
        """Lose the signal."""
        self.context.set_offline(True)

    def send(self) -> None:
        """Find the signal again and send what waits, at once."""
        self.context.set_offline(False)
        self.show("#/outbox")
        self.page.click("[data-send-now] >> visible=true")
        expect(self.page.locator("[data-counts]")).not_to_contain_text("to send")

    def main(self) -> str:
        """Return what the screen says."""
        return self.page.inner_text("main")

    def close(self) -> None:
        """Close the browser; nothing may have gone wrong in its scripts."""
        self.context.close()
        assert self.errors == []
