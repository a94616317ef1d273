"""A database for one benchmark, dropped after it."""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from django.db import connection, connections

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextmanager
def temporary_database() -> Iterator[None]:
    """Make a database of the configured kind in a temporary place, and drop it at the end."""
    before = connection.settings_dict["NAME"]
    with tempfile.TemporaryDirectory() as folder:
        if connection.vendor == "sqlite":
            connection.settings_dict["TEST"]["NAME"] = str(Path(folder) / "bench.sqlite3")
        connection.creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)
        try:
            yield
        finally:
            connection.creation.destroy_test_db(before, verbosity=0)
            connections.close_all()
