"""Apply a file that a phone exported because it could not send."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.services.exchange.outbox import import_outbox, read_outbox

if TYPE_CHECKING:
    from argparse import ArgumentParser
    from collections.abc import Mapping

    from inventory.services.exchange.outbox import OutboxReport

QUIET_SECONDS = 2.0
SHOWN = 50


class Command(BaseCommand):
    """Read the file, apply it, and say what became of it."""

    help = (
        "Apply what waited on a phone, from the file it exported; safe to run again. See "
        "docs/how-to/exchange.md."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """File, and whose phone it is where that is not known."""
        parser.add_argument("file", type=Path, help="as the phone exported it")
        parser.add_argument(
            "--organisation", help="whose phone it is, where the phone is not known here"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Read, apply and print."""
        named = options["organisation"]
        organisation = find_organisation(named) if named else None
        file: Path = options["file"]
        try:
            outbox = read_outbox(json.loads(file.read_bytes()))
            total = len(outbox.operations) + len(outbox.photos)
            delay = 0.0 if sys.stderr.isatty() else QUIET_SECONDS
            with tqdm(total=total, desc="entries", delay=delay, file=sys.stderr) as bar:

                def show(done: int, _total: int) -> None:
                    bar.update(done - bar.n)

                report = import_outbox(outbox=outbox, organisation=organisation, progress=show)
        except (InventoryError, OSError) as error:
            raise CommandError(str(error)) from error
        except (ValueError, RecursionError) as error:
            msg = f"{file} is not JSON that can be read, so nothing was applied: {error}"
            raise CommandError(msg) from error
        for line in lines_of(report):
            self.stdout.write(line)


def lines_of(report: OutboxReport) -> list[str]:
    """Return the report as lines of text."""
    lines = [f"Of {report.device}: {_counted(report.counts) or 'no operation'}."]
    lines += [
        f"  {each.client_uuid} {each.answer} ({each.code}): {each.sentence}"
        for each in report.not_applied[:SHOWN]
    ]
    if len(report.not_applied) > SHOWN:
        lines.append(f"  … and {len(report.not_applied) - SHOWN:,} more")
    if report.photo_counts:
        lines.append(f"Photos: {_counted(report.photo_counts)}.")
    lines += [f"  {problem}" for problem in report.photo_problems[:SHOWN]]
    if any(each.answer in ("held", "refused") for each in report.not_applied):
        lines.append("What is held or refused waits on the page of what phones sent.")
    return lines


def _counted(counts: Mapping[str, int]) -> str:
    return ", ".join(
        f"{number:,} {name.replace('_', ' ')}" for name, number in sorted(counts.items())
    )
