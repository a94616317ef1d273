"""
How fast a phone's batch is taken in: received, applied and judged, on both databases.

Beside it, how fast the field app opens on a phone, and what it weighs.

The peer is one transaction of ``bulk_create`` of every row the batch left: what any program
that keeps the same records cannot go below by this framework's own means. It is given its rows
ready made, and need not check, look up or judge anything. No outside program is timed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.bench.field_start import field_rows
from tests.bench.rows import Row
from tests.postgres import throwaway_postgres

ROOT = Path(__file__).resolve().parents[2]
_LEG = (
    "import django; django.setup(); "
    "from tests.bench.exchange_leg import print_figures; print_figures()"
)


def run() -> list[Row]:
    """Return the figures; each database is made for the run, in a process of its own."""
    started = field_rows()
    with tempfile.TemporaryDirectory() as folder:
        rows = _figures_on(f"sqlite:///{Path(folder) / 'bench.sqlite3'}")
    with throwaway_postgres() as address:
        if address is not None:
            return [*rows, *_figures_on(address), *started]
    print("\n*** POSTGRESQL IS NOT INSTALLED: THE EXCHANGE WAS NOT MEASURED ON IT ***")
    missing = Row(
        name="receive and apply a batch, postgresql",
        value=None,
        unit="s",
        note="NOT MEASURED: PostgreSQL is not installed here",
    )
    return [*rows, missing, *started]


def _figures_on(address: str) -> list[Row]:
    done = subprocess.run(
        [sys.executable, "-c", _LEG],
        cwd=ROOT,
        env={**os.environ, "DATABASE_URL": address},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return [Row(**each) for each in json.loads(done.stdout.splitlines()[-1])]
