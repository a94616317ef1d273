"""``python -m tests.bench [--only STAGE]``: what `make bench` runs."""

from __future__ import annotations

import argparse
import os
import signal
import sys
from pathlib import Path

import django

from tests.bench.runner import STAGES, all_reached, run_stage, stages_written

FOLDER = Path(__file__).resolve().parents[2] / "build" / "bench"


def main() -> int:
    """Run the benchmarks; end with 1 when an aim was missed."""
    parser = argparse.ArgumentParser(prog="make bench", description=__doc__)
    parser.add_argument("--only", choices=STAGES, help="one stage")
    chosen = parser.parse_args().only
    # Stopped by another program, it still ends the database server it started.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    written = stages_written()
    if chosen is not None and chosen not in written:
        print(f"There is no benchmark of {chosen} yet (tests/bench/bench_{chosen}.py).")
        return 1
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "signfleet.settings")
    django.setup()
    rows = [
        row for stage in ([chosen] if chosen else written) for row in run_stage(stage, FOLDER)
    ]
    print(f"\n{len(rows)} figures; written to {FOLDER.relative_to(Path.cwd())}/")
    return 0 if all_reached(rows) else 1


if __name__ == "__main__":
    sys.exit(main())
