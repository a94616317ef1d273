"""A database as ``manage.py migrate`` makes it, for those few tests that need one."""

from __future__ import annotations

import fcntl
import os
import subprocess
import sys
from typing import TYPE_CHECKING

from django.conf import settings

if TYPE_CHECKING:
    from pathlib import Path


def migrate(url: str, folder: Path) -> None:
    """Make the tables of an empty database by the command of the README."""
    subprocess.run(
        [sys.executable, "manage.py", "migrate", "--no-input", "--verbosity", "0"],
        cwd=settings.BASE_DIR,
        env={**os.environ, "DATABASE_URL": url, "SIGNFLEET_VAR_DIR": str(folder)},
        check=True,
    )


def migrated_once(folder: Path) -> Path:
    """
    Return an SQLite file with every table and no row, made by the first who asks.

    All workers of a run share the folder; whoever wants the file copies it. Migrating takes
    over ten seconds of one core, which a run spends once.
    """
    file = folder / "migrated.sqlite3"
    with (folder / "migrated.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not file.exists():
            unfinished = folder / "unfinished.sqlite3"
            unfinished.unlink(missing_ok=True)
            migrate(f"sqlite:///{unfinished}", folder)
            unfinished.rename(file)
    return file
