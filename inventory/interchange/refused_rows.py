"""Rows of a file that were not taken, written back as they were, each with its reason."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from inventory.services.importing.reports import Refusal


def write_refused(path: Path, columns: Sequence[str], refusals: Sequence[Refusal]) -> None:
    """Write refused rows to a CSV: their line, the reason, and every cell as it was read."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beyond = {name for each in refusals for name in each.raw} - set(columns)
    names = [*columns, *sorted(beyond)]
    with path.open("w", encoding="utf-8-sig", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(["line", "reason", *names])
        for each in refusals:
            cells = [each.raw.get(name, "") for name in names]
            writer.writerow([each.line, each.reason, *cells])
