"""
How fast the field app opens from cold on a phone without signal, and what its shell weighs.

The site is served as it is deployed, the app is installed from it, the server is killed, the
browser is closed, and then the app is opened by a browser slowed down four times.
"""

from __future__ import annotations

import gzip
import json
import statistics
import tempfile
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING, Any

from playwright.sync_api import sync_playwright

from tests.bench.rows import Row
from tests.browser.field_phone import MID_PHONE_SLOWDOWN, FieldPhone, cold_start_ms
from tests.browser.served import served
from tests.left_out import NO_CHROMIUM, find_chromium

if TYPE_CHECKING:
    from playwright.sync_api import Playwright

STARTS = 7
START_AIM_MS = 1_000.0  # issue 4: opens offline from cold in under a second at 4×
SHELL_AIM_KB = 200.0  # issue 4: app shell ≤ 200 kB gzip excluding the QR wasm
START = "open from cold without signal"


def field_rows() -> list[Row]:
    """Return the figures; without a Chromium the start is not measured, and says so."""
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as site:
        shell = _shell_row(site.address)
        if find_chromium() is None:
            return [
                Row(name=START, value=None, unit="ms", note=f"NOT MEASURED: {NO_CHROMIUM}"),
                shell,
            ]
        with sync_playwright() as driver:
            phone = _installed(driver, site.address, Path(folder))
            site.kill()
            starts = [_start(phone) for _ in range(STARTS)]
    middle = statistics.median(starts)
    return [
        Row(
            name=START,
            value=middle,
            unit="ms",
            target=f"< {START_AIM_MS:,.0f} ms",
            holds=middle < START_AIM_MS,
            note=(
                f"the middle of {STARTS} ({min(starts):.0f} to {max(starts):.0f}), each a new "
                f"browser, {MID_PHONE_SLOWDOWN} times slowed down, its server gone"
            ),
        ),
        shell,
    ]


def _installed(driver: Playwright, site: str, folder: Path) -> FieldPhone:
    """Return a phone with the app on it, switched off."""
    phone = FieldPhone(driver.chromium, site, folder)
    phone.keep(phone.switch_on())
    phone.switch_off()
    return phone


def _start(phone: FieldPhone) -> float:
    took_ms = cold_start_ms(phone)
    phone.switch_off()
    return took_ms


def _shell_row(site: str) -> Row:
    """Return what the worker keeps weighs on the way, all but the reader of QR codes."""
    script = _fetched(f"{site}/field/worker.js").decode()
    first, _, _ = script.partition("\n")
    known: dict[str, Any] = json.loads(first.removeprefix("self.SIGNFLEET = ").rstrip(";"))
    addresses = [f["url"] for f in known["files"] if ".wasm" not in f["url"]]
    weight = sum(len(gzip.compress(_fetched(site + each))) for each in addresses) / 1_000
    return Row(
        name="app shell, gzipped, without the QR reader",
        value=weight,
        unit="kB",
        target=f"≤ {SHELL_AIM_KB:g} kB",
        holds=weight <= SHELL_AIM_KB,
        note=f"{len(addresses)} files",
    )


def _fetched(address: str) -> bytes:
    with urllib.request.urlopen(address) as answer:  # noqa: S310 - our own site
        content: bytes = answer.read()
        return content
