"""The real server on a database of its own, killed and started again at will."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import closing, suppress
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections import Counter
    from random import Random

    from tests.faults.stores import Store

ROOT = Path(__file__).resolve().parents[2]
PING = "/api/v1/operations/ping"
LONGEST_START_S = 120.0
LONGEST_END = 1_000  # looks, a hundredth of a second apart
FIRST_PORT, PORTS = 20_000, 12_000
_ERROR = re.compile(r"^[\w.]*(?:Error|Exception)\b.*$", re.MULTILINE)
KILL_SERVER = "server killed with SIGKILL"
KILL_WORKER = "one worker killed with SIGKILL"


class Site:
    """gunicorn as it is deployed, on a free port of this machine."""

    def __init__(self, store: Store, folder: Path) -> None:
        self.port = free_port()
        self.environment = {
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "signfleet.settings",
            "DATABASE_URL": store.url,
            "SECRET_KEY": "for-tests-of-faults-only-" + "x" * 40,
            "SIGNFLEET_VAR_DIR": str(folder),
            "SIGNFLEET_BIND": f"127.0.0.1:{self.port}",
            "SITE_ADDRESS": f"http://127.0.0.1:{self.port}",
            "BEHIND_TLS": "0",
            "DEBUG": "0",
        }
        self.log = folder / "server.log"
        self._process: subprocess.Popen[bytes] | None = None
        self._is_closed = False
        self._lock = threading.RLock()

    def run(self, *arguments: str) -> str:
        """Run a command of the project on the site's database, and return what it printed."""
        done = subprocess.run(
            [sys.executable, *arguments],
            cwd=ROOT,
            env=self.environment,
            check=False,
            capture_output=True,
            text=True,
        )
        if done.returncode:
            msg = f"{' '.join(arguments)} failed:\n{done.stdout}\n{done.stderr}"
            raise RuntimeError(msg)
        return done.stdout

    def start(self) -> None:
        """Start the server and wait until it answers."""
        with self._lock, self.log.open("ab") as log:
            self._process = subprocess.Popen(
                [sys.executable, "-m", "gunicorn", "--config", "signfleet/gunicorn.conf.py"],
                cwd=ROOT,
                env=self.environment,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
            self._wait_for_answer()

    def kill(self) -> None:
        """End master and workers at once, whatever they are doing."""
        with self._lock:
            if self._process is not None:
                # Of the session that start() opened: nothing else is in it.
                with suppress(ProcessLookupError):
                    os.killpg(self._process.pid, signal.SIGKILL)
                self._process.wait()
                self._process = None
                # Its workers, killed with it, may hold the port a moment longer.
                for _ in range(LONGEST_END):
                    if not self._is_listening():
                        break
                    time.sleep(0.01)

    def close(self) -> None:
        """End it for good: a kill that is still to come starts it no more."""
        with self._lock:
            self._is_closed = True
            self.kill()

    def kill_somehow(self, random: Random, counts: Counter[str]) -> None:
        """Kill the server and start it again, or one of its workers, which it replaces."""
        with self._lock:
            if self._is_closed:
                return
            workers = self._workers()
            if workers and counts[KILL_SERVER] > counts[KILL_WORKER]:
                counts[KILL_WORKER] += 1
                with suppress(ProcessLookupError):
                    os.kill(random.choice(workers), signal.SIGKILL)
                return
            counts[KILL_SERVER] += 1
            self.kill()
            self.start()

    def why_gone(self) -> Exception | None:
        """Return what to say where the server ended though nobody killed it; else nothing."""
        if not self._lock.acquire(blocking=False):
            return None  # it is being killed or started
        try:
            if self._process is None or self._process.poll() is None:
                return None
            log = self.log.read_text(encoding="utf-8", errors="replace")
            return RuntimeError(f"The server ended by itself:\n{log[-4000:]}")
        finally:
            self._lock.release()

    def errors(self) -> list[str]:
        """Return the exceptions the server wrote to its log, a line each."""
        return _ERROR.findall(self.log.read_text(encoding="utf-8", errors="replace"))

    def _workers(self) -> list[int]:
        """Return the processes whose parent is the master; none where /proc is not there."""
        if self._process is None:
            return []
        found = []
        for stat in Path("/proc").glob("[0-9]*/stat"):
            with suppress(OSError):  # it has just ended
                # The name stands in brackets and may hold blanks; then state and parent.
                _, parent, *_ = stat.read_text(encoding="utf-8").rpartition(")")[2].split()
                if int(parent) == self._process.pid:
                    found.append(int(stat.parent.name))
        return found

    def _is_listening(self) -> bool:
        with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), timeout=5):
            return True
        return False

    def _wait_for_answer(self) -> None:
        begun = time.monotonic()
        while time.monotonic() - begun < LONGEST_START_S:
            with (
                suppress(OSError, HTTPException),
                closing(HTTPConnection("127.0.0.1", self.port, timeout=30)) as connection,
            ):
                connection.request("GET", PING)
                if connection.getresponse().status == 200:
                    return
            if self._process is None or self._process.poll() is not None:
                break
            time.sleep(0.1)
        msg = f"The server did not start:\n{self.log.read_text(encoding='utf-8')[-4000:]}"
        raise RuntimeError(msg)


def free_port() -> int:
    """
    Return a port that nothing uses now, below those that outgoing connections are given.

    A connection to a port of theirs that nobody listens on may be given that very port, and
    then talks to itself.
    """
    for place in range(PORTS):
        port = FIRST_PORT + (os.getpid() + place) % PORTS
        with suppress(OSError), socket.create_server(("127.0.0.1", port)):
            return port
    msg = f"No port from {FIRST_PORT} to {FIRST_PORT + PORTS - 1} is free."
    raise RuntimeError(msg)
