"""A phone with the field app on it, that can lose its signal, its power and its time."""

from __future__ import annotations

import os
import signal
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from playwright.sync_api import Error, ViewportSize

from inventory.models import Role
from tests.browser.acting import sign_in
from tests.left_out import find_chromium
from tools.node import run_node

if TYPE_CHECKING:
    from collections.abc import Callable

    from playwright.sync_api import BrowserContext, BrowserType, CDPSession, Page

    from inventory.models import Organisation, User

PHONE = ViewportSize(width=390, height=844)
MID_PHONE_SLOWDOWN = 4  # issue 4: Chromium's CPU throttle 4×
BETWEEN_LOOKS_MS = 20
MOST_LOOKS = 3_000
FIRST_SCREEN = "[data-screen] h1"
IS_KEPT = "navigator.serviceWorker.ready.then(() => true)"
# Notes the moment at which the first screen stands, by the page's own clock.
WATCH_FIRST_SCREEN = f"""
new MutationObserver((_changes, observer) => {{
  if (document.querySelector("{FIRST_SCREEN}")) {{
    requestAnimationFrame(() => {{
      globalThis.firstScreenMs ??= performance.now();
    }});
    observer.disconnect();
  }}
}}).observe(document, {{ childList: true, subtree: true }});
"""


@lru_cache(maxsize=1)
def probe_script(folder: Path) -> str:
    """Return the app's own modules as one script, to record and look without screens."""
    built = folder / "field_probe.js"
    ended = run_node(
        "node_modules/esbuild/bin/esbuild",
        "tests/browser/field_probe.js",
        "--bundle",
        "--format=iife",
        "--target=es2022",
        "--log-level=warning",
        f"--outfile={built}",
    )
    assert ended == 0
    return built.read_text(encoding="utf-8")


def wait_until(page: Page, is_so: Callable[[], Any]) -> None:
    """Wait until something is so, looking again and again; give up when it never is."""
    for _ in range(MOST_LOOKS):
        if is_so():
            return
        page.wait_for_timeout(BETWEEN_LOOKS_MS)
    msg = "What was waited for never happened."
    raise AssertionError(msg)


class FieldPhone:
    """A browser of its own, whose storage stays on the disk when its power is cut."""

    def __init__(self, chromium: BrowserType, site: str, folder: Path) -> None:
        self.chromium = chromium
        self.site = site
        self.folder = folder / "phone"
        self.probe_folder = folder
        self.context: BrowserContext | None = None

    def switch_on(self, *, is_offline: bool = False) -> Page:
        """Start the browser on what its disk holds."""
        switches = ["--no-sandbox"] if os.geteuid() == 0 else []
        self.context = self.chromium.launch_persistent_context(
            self.folder,
            executable_path=find_chromium(),
            args=switches,
            viewport=PHONE,
            has_touch=True,
            is_mobile=True,
            offline=is_offline,
        )
        return self.context.pages[0]

    def open(self, page: Page, address: str = "/field/") -> None:
        """Open the field app and wait for its first screen."""
        page.goto(self.site + address)
        page.wait_for_selector(FIRST_SCREEN)

    def keep(self, page: Page) -> None:
        """Open the app and wait until it is kept for offline."""
        self.open(page)
        assert page.evaluate(IS_KEPT)

    def probe(self, page: Page, call: str, argument: Any = None) -> Any:
        """Call one of the probe's functions in a page."""
        page.evaluate(probe_script(self.probe_folder))
        return page.evaluate(f"(argument) => probe.{call}", argument)

    def register(self, page: Page, organisation: Organisation, role: str = Role.CREW) -> User:
        """Sign a new person in, keep the app, and wait until the server knows the phone."""
        person = sign_in(page, self.site, organisation, role)
        self.keep(page)
        self.until(page, "isRegistered()")
        return person

    def until(self, page: Page, call: str) -> None:
        """Wait until one of the probe's functions says yes."""
        wait_until(page, lambda: self.probe(page, call))

    def session(self, page: Page) -> CDPSession:
        """Return a line to the browser's own controls for a page."""
        return page.context.new_cdp_session(page)

    def cut_power(self) -> None:
        """Kill the browser at once, as an empty battery does."""
        for pid in self._processes():
            os.kill(pid, signal.SIGKILL)
        self.forget()

    def switch_off(self) -> None:
        """Close the browser as a person does."""
        if self.context is not None:
            self.context.close()
            self.context = None

    def forget(self) -> None:
        """Let go of a browser that is dead."""
        if self.context is not None:
            with suppress(Error):  # its process is gone: that was the point
                self.context.close()
            self.context = None

    def _processes(self) -> list[int]:
        """Return the browser's first process; the others end with it."""
        mark = f"--user-data-dir={self.folder}"
        found = []
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                try:
                    words = (entry / "cmdline").read_bytes().decode().split("\0")
                except (OSError, UnicodeDecodeError):
                    continue
                if mark in words and not any(word.startswith("--type=") for word in words):
                    found.append(int(entry.name))
        assert found, "the browser to kill is not running"
        return found


def cold_start_ms(phone: FieldPhone) -> float:
    """Return how long a mid phone without signal takes from cold to the first screen."""
    page = phone.switch_on(is_offline=True)
    page.add_init_script(WATCH_FIRST_SCREEN)
    phone.session(page).send("Emulation.setCPUThrottlingRate", {"rate": MID_PHONE_SLOWDOWN})
    phone.open(page)
    page.wait_for_function("globalThis.firstScreenMs")
    return float(page.evaluate("globalThis.firstScreenMs"))
