"""
One process at a time on a database whose SQLite is too old for more.

The lock is taken on a file beside the database and held until the process ends, so it
cannot be left behind by a crash. It is a record lock, which a forked child does not
inherit: a child that opens the database is refused like any other process.
"""

from __future__ import annotations

import logging
import os
import sys
from typing import IO

from django.core.exceptions import ImproperlyConfigured

from signfleet.sqlite.library import FIRST_SAFE_VERSION, version_text, what_to_do

logger = logging.getLogger("signfleet.sqlite")

_held: dict[tuple[int, str], IO[str]] = {}


def claim(database_path: str, version: tuple[int, ...]) -> None:
    """Take the database for this process alone, or say which process has it."""
    path = os.path.realpath(database_path)
    key = (os.getpid(), path)
    if key in _held:
        return
    file = open(f"{path}.one-process", "a+", encoding="ascii")  # noqa: SIM115 - held until the process ends
    if not _try_lock(file):
        file.seek(0)
        holder = file.read().strip()
        file.close()
        who = f"process {holder}" if holder else "another process"
        msg = (
            f"{path} is open in {who}, and this is SQLite {version_text(version)}: older than "
            f"{version_text(FIRST_SAFE_VERSION)}, it can corrupt a database that two processes "
            f"write. Stop the other process first, or end the limit: {what_to_do()}"
        )
        raise ImproperlyConfigured(msg)
    file.truncate(0)
    file.write(str(os.getpid()))
    file.flush()
    _held[key] = file
    logger.warning(
        "SQLite %s is older than %s, so only this process may open %s. %s",
        version_text(version),
        version_text(FIRST_SAFE_VERSION),
        path,
        what_to_do(),
    )


def _try_lock(file: IO[str]) -> bool:
    """Return whether the lock was free."""
    if sys.platform == "win32":
        msg = f"This SQLite is too old for a site on Windows. {what_to_do()}"
        raise ImproperlyConfigured(msg)
    import fcntl

    try:
        fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
