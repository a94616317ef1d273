"""Take a list of readings in: a dry run first, then for good."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from inventory.errors import InventoryError
from inventory.interchange.reading_lists import read_reading_list
from inventory.interchange.refused_rows import write_refused
from inventory.management.commands.add_organisation import find_organisation
from inventory.models import User
from inventory.services.reading_import import import_readings

if TYPE_CHECKING:
    from argparse import ArgumentParser
    from collections.abc import Sequence

    from inventory.services.reading_import import ReadingReport

QUIET_SECONDS = 2.0
SHOWN = 20


class Command(BaseCommand):
    """Read a list of readings, say what it would do, and do it when told to."""

    help = (
        "Take a list of readings in. Without --apply it is a dry run that writes nothing; see "
        "docs/how-to/import-readings.md for the columns."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """File, whose signs they are, and whether to write."""
        parser.add_argument("file", type=Path, help="a CSV with the fixed header")
        parser.add_argument(
            "--organisation", required=True, help="the agency that has the signs"
        )
        parser.add_argument("--by", help="username of the person who read, or who imports")
        parser.add_argument(
            "--apply", action="store_true", help="write what the dry run showed"
        )
        parser.add_argument(
            "--refused-out",
            type=Path,
            help="where refused rows go (a CSV; default in var/imports)",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Read, import and print."""
        organisation = find_organisation(options["organisation"])
        by = _find_person(options["by"]) if options["by"] else None
        file: Path = options["file"]
        try:
            source = read_reading_list(file, ZoneInfo(organisation.time_zone))
            with _bar(len(source.rows)) as bar:

                def show(_step: str, done: int, _total: int) -> None:
                    bar.update(done - bar.n)

                report = import_readings(
                    organisation=organisation,
                    file_name=source.file_name,
                    rows=source.rows,
                    dry_run=not options["apply"],
                    by=by,
                    progress=show,
                )
        except (InventoryError, OSError, UnicodeDecodeError) as error:
            raise CommandError(str(error)) from error
        refused_out: Path = options["refused_out"] or (
            Path(settings.VAR_DIR) / "imports" / f"{file.stem}-refused.csv"
        )
        if report.refusals:
            write_refused(refused_out, source.columns, report.refusals)
        for line in lines_of(report, source.remarks, refused_out):
            self.stdout.write(line)


def _bar(total: int) -> tqdm[Any]:
    """Return a progress bar on stderr; without a terminal only a long job has one."""
    delay = 0.0 if sys.stderr.isatty() else QUIET_SECONDS
    return tqdm(total=total, desc="rows", delay=delay, file=sys.stderr)


def _find_person(username: str) -> User:
    person = User.objects.filter(username=username).first()
    if person is None:
        msg = f"There is no person '{username}'; add one with manage.py add_person."
        raise CommandError(msg)
    return person


def lines_of(report: ReadingReport, remarks: Sequence[str], refused_out: Path) -> list[str]:
    """Return the report as lines of text."""
    would = "would be " if report.is_dry_run else ""
    lines = list(remarks)
    if report.refusals:
        lines.append(
            f"{len(report.refusals):,} rows refused; all with reasons in {refused_out}:"
        )
        lines += [f"  line {each.line}: {each.reason}" for each in report.refusals[:SHOWN]]
        if len(report.refusals) > SHOWN:
            lines.append(f"  … and {len(report.refusals) - SHOWN:,} more")
    refused = len(report.refusals)
    total = report.stored_rows + report.unchanged_rows + refused
    lines.append(
        f"Of {report.row_count:,} rows {report.stored_rows:,} {would}stored, "
        f"{report.unchanged_rows:,} unchanged, {refused:,} refused (sum {total:,})."
    )
    lines.append(
        f"Visits {would}stored: {report.stored_visits:,}, of which by an instrument in doubt, "
        f"to be settled: {report.flagged_visits:,}."
    )
    if report.is_dry_run:
        lines.append("Nothing was written: this was a dry run. Add --apply to write it.")
    return lines
