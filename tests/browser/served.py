"""The site as it is deployed: gunicorn, collected files, and a database of its own."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from typing import TYPE_CHECKING
from urllib.error import URLError

from tools.node import ROOT

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

START_TIMEOUT_S = 120


class Served:
    """A running server; it can be killed, as a network that is gone looks to a phone."""

    def __init__(self, process: subprocess.Popen[bytes], address: str) -> None:
        self.process = process
        self.address = address

    def kill(self) -> None:
        """End it and its workers at once."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


@contextmanager
def served(folder: Path, migrated_file: Path | None = None) -> Iterator[Served]:
    """Serve the site from an empty database in a folder: a copy, or made by migrating."""
    port = _free_port()
    address = f"http://127.0.0.1:{port}"
    environment = {
        **os.environ,
        "SIGNFLEET_VAR_DIR": str(folder),
        "DATABASE_URL": f"sqlite:///{folder / 'site.sqlite3'}",
        "SIGNFLEET_BIND": f"127.0.0.1:{port}",
        "SITE_ADDRESS": address,
        "DEBUG": "0",
        "BEHIND_TLS": "0",
    }
    if migrated_file is not None:
        shutil.copyfile(migrated_file, folder / "site.sqlite3")
    for command in (
        ("migrate", "collectstatic") if migrated_file is None else ("collectstatic",)
    ):
        subprocess.run(
            [sys.executable, "manage.py", command, "--no-input", "--verbosity=0"],
            cwd=ROOT,
            env=environment,
            check=True,
        )
    process = subprocess.Popen(
        [sys.executable, "-m", "gunicorn", "--config", "signfleet/gunicorn.conf.py"],
        cwd=ROOT,
        env=environment,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    site = Served(process, address)
    try:
        _wait_until_it_answers(site)
        yield site
    finally:
        if process.poll() is None:
            site.kill()


def _free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        port: int = asked.getsockname()[1]
        return port


def _wait_until_it_answers(site: Served) -> None:
    """Return once the site answers; a server that ended before says so."""
    until = time.monotonic() + START_TIMEOUT_S
    while time.monotonic() < until:
        if site.process.poll() is not None:
            msg = f"The server ended with {site.process.returncode} before it answered."
            raise RuntimeError(msg)
        try:
            with urllib.request.urlopen(f"{site.address}/field/"):  # noqa: S310 - our own
                return
        except (URLError, OSError):
            time.sleep(0.2)
    msg = f"The server did not answer at {site.address} within {START_TIMEOUT_S} s."
    raise RuntimeError(msg)
