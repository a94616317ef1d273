"""The full run on both databases: ``make faults`` (OPERATIONS=10000, SEED=…, ONLY=sqlite)."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import tempfile
from contextlib import ExitStack
from pathlib import Path

from tests.faults.run import SEED, Report, run_faults
from tests.faults.stores import (
    PostgresStore,
    SqliteStore,
    postgres_cluster,
    postgres_programs,
)


def main() -> int:
    """Run on each database, print what was injected and left, and return how it ended."""
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__)
    parser.add_argument("--operations", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--only", choices=("sqlite", "postgres"))
    options = parser.parse_args()
    # Stopped by another program, it still ends the server it started.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    reports: list[Report] = []
    if options.only != "postgres":
        with tempfile.TemporaryDirectory() as folder:
            store = SqliteStore(Path(folder))
            reports.append(_told(run_faults(store, options.operations, options.seed)))
    if options.only != "sqlite":
        with ExitStack() as stack:
            address = _postgres_address(stack)
            if address is None:
                print("There is no PostgreSQL on this machine and DATABASE_URL names none.")
                return 1
            database = PostgresStore(address)
            stack.callback(database.drop)
            reports.append(_told(run_faults(database, options.operations, options.seed)))
    wrong = {
        f"{report.store}, {what}": found
        for report in reports
        for what, found in report.losses.items()
        if found
    }
    for what, found in wrong.items():
        print(f"{what}: {len(found)}", *found[:20], sep="\n    ")
    return 1 if wrong else 0


def _told(report: Report) -> Report:
    print(report.table(), flush=True)
    return report


def _postgres_address(stack: ExitStack) -> str | None:
    url = os.environ.get("DATABASE_URL", "")
    if url.startswith("postgres"):
        return url
    programs = postgres_programs()
    return None if programs is None else stack.enter_context(postgres_cluster(programs))


if __name__ == "__main__":
    sys.exit(main())
