"""Take a list of signs in: a dry run first, then for good."""

from __future__ import annotations

import csv
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone
from tqdm import tqdm

from inventory.errors import InventoryError
from inventory.interchange.refused_rows import write_refused
from inventory.interchange.sign_lists import Look, look_at, read_sign_list
from inventory.management.commands.add_organisation import find_organisation
from inventory.models import User
from inventory.services.importing import ImportReport, import_signs

if TYPE_CHECKING:
    from argparse import ArgumentParser


QUIET_SECONDS = 2.0
SHOWN = 20
FEW_SHOWN = 3


class Command(BaseCommand):
    """Read a list with its mapping, say what it would do, and do it when told to."""

    help = (
        "Take a list of signs in. Without --apply it is a dry run that writes nothing; see "
        "docs/how-to/import-a-sign-list.md for the mapping."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """File, mapping, whose signs they are, and whether to write."""
        parser.add_argument("file", type=Path, help="CSV, GeoPackage, Shapefile, GeoJSON …")
        parser.add_argument("--mapping", type=Path, help="a TOML file")
        parser.add_argument("--organisation", help="the agency that has the signs")
        parser.add_argument("--by", help="username of the person who imports")
        mode = parser.add_mutually_exclusive_group()
        mode.add_argument("--dry-run", action="store_true", help="write nothing (the default)")
        mode.add_argument(
            "--look",
            action="store_true",
            help="only show the file's columns and their words, to write a mapping from",
        )
        mode.add_argument("--apply", action="store_true", help="write what the dry run showed")
        parser.add_argument(
            "--refused-out",
            type=Path,
            help="where refused rows go (a CSV; default in var/imports)",
        )
        parser.add_argument(
            "--notes-out",
            type=Path,
            help="write every note to this CSV, not only the first ones",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Look, or read, import and print."""
        if options["look"]:
            for line in self._look(options["file"], options["mapping"]):
                self.stdout.write(line)
            return
        if not (options["mapping"] and options["organisation"]):
            msg = "Give --mapping and --organisation; with --look neither is needed."
            raise CommandError(msg)
        self._import(options)

    def _look(self, file: Path, mapping: Path | None) -> list[str]:
        try:
            text = mapping.read_text(encoding="utf-8-sig") if mapping else ""
            return lines_of_look(look_at(file, text))
        except (InventoryError, OSError, UnicodeDecodeError) as error:
            raise CommandError(str(error)) from error

    def _import(self, options: dict[str, Any]) -> None:
        organisation = find_organisation(options["organisation"])
        by = _find_person(options["by"]) if options["by"] else None
        now = timezone.now()
        bars = _Bars()
        try:
            mapping_text = options["mapping"].read_text(encoding="utf-8-sig")
            source = read_sign_list(
                options["file"], mapping_text, today=organisation.day_of(now)
            )
            report = import_signs(
                organisation=organisation,
                source=source,
                dry_run=not options["apply"],
                by=by,
                progress=bars,
                now=now,
            )
        except (InventoryError, OSError, UnicodeDecodeError) as error:
            raise CommandError(str(error)) from error
        finally:
            bars.close()
        refused_path = options["refused_out"] or _default_path(options["file"])
        if report.refusals:
            write_refused(refused_path, source.columns, report.refusals)
        if options["notes_out"]:
            write_notes(options["notes_out"], report)
        for line in lines_of(report, refused_path):
            self.stdout.write(line)


def _find_person(username: str) -> User:
    person = User.objects.filter(username=username).first()
    if person is None:
        msg = f"There is no person '{username}'; add one with manage.py add_person."
        raise CommandError(msg)
    return person


def _default_path(file: Path) -> Path:
    return Path(settings.VAR_DIR) / "imports" / f"{file.stem}-refused.csv"


class _Bars:
    """One progress bar for each step, on stderr; without a terminal only for long ones."""

    def __init__(self) -> None:
        self._bar: tqdm[Any] | None = None
        self._step = ""

    def __call__(self, step: str, done: int, total: int) -> None:
        if step != self._step or self._bar is None:
            self.close()
            self._step = step
            self._bar = tqdm(
                total=total,
                desc=step,
                delay=0.0 if sys.stderr.isatty() else QUIET_SECONDS,
                file=sys.stderr,
            )
        self._bar.update(done - self._bar.n)

    def close(self) -> None:
        """End the bar of the step."""
        if self._bar is not None:
            self._bar.close()
            self._bar = None


def write_notes(path: Path, report: ImportReport) -> None:
    """Write every word that could not be taken as it stands, with its count."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", encoding="utf-8-sig", newline="") as out:
        writer = csv.writer(out)
        writer.writerow(["field", "text", "rows", "first line", "what was done"])
        for each in report.notes:
            writer.writerow([each.field, each.text, each.count, each.first_line, each.sentence])


def lines_of_look(look: Look) -> list[str]:
    """Return what a file holds as lines of text."""
    table = look.table
    lines = [
        *table.remarks,
        f"{_counted(len(table.rows), 'row')}, {len(table.columns)} columns.",
    ]
    if table.points is not None:
        shapes = sum(1 for each in table.points if not isinstance(each, str))
        system = table.crs or "a system it does not name"
        lines.append(f"Rows with a point of their own: {shapes:,}, in {system}.")
    for name, words in look.words.items():
        filled = sum(words.values())
        blank = len(table.rows) - filled
        lines.append(f"'{name}': {filled:,} filled, {blank:,} blank, {len(words):,} different")
        # Words that repeat are worth translating; numbers and names are recognised by a few.
        shown = words.most_common(SHOWN if len(words) < filled / 2 else FEW_SHOWN)
        lines.append("    " + ", ".join(f"{word!r} {count:,}" for word, count in shown))
    return lines


def lines_of(report: ImportReport, refused_path: Path) -> list[str]:
    """Return the report as lines of text."""
    counts = {outcome.value: number for outcome, number in report.counts.items()}
    would = "would be " if report.is_dry_run else ""
    lines = list(report.remarks)
    lines += _note_lines(report)
    lines += _listed(
        "Changed, but waiting to be settled (manage.py settle_import)",
        [f"{each.external_id}: {each.reason}" for each in report.waiting],
    )
    lines += _listed("In earlier files but not in this one, and not removed", report.missing)
    lines += _listed(
        f"Refused, all with their reasons in {refused_path}",
        [f"line {each.line}: {each.reason}" for each in report.refusals],
    )
    if report.resumed_at_row:
        lines.append(
            f"Went on after row {report.resumed_at_row:,}, where the import was stopped."
        )
    if report.changed_beside_the_mapping:
        lines.append(
            f"Changed only in columns that are not mapped: "
            f"{_counted(report.changed_beside_the_mapping, 'row')}; the new text is kept, the "
            "count is unchanged."
        )
    if report.caught_up:
        lines.append(
            f"Now saying what was recorded here before: {_counted(report.caught_up, 'row')}."
        )
    lines.append(
        f"Of {report.row_count:,} rows {counts['created']:,} {would}created, "
        f"{counts['updated']:,} {would}updated, {counts['unchanged']:,} unchanged, "
        f"{counts['refused']:,} refused (sum {sum(counts.values()):,})."
    )
    lines.append(
        f"{_counted(report.supports_made, 'support')} and "
        f"{_counted(report.faces_made, 'face')} {would}made."
    )
    if report.due is not None:
        lines.append(
            f"{report.due.due:,} of {report.due.signs:,} installed signs are due; "
            f"{report.due.not_ours:,} are others'."
        )
    if report.is_dry_run:
        lines.append("Nothing was written: this was a dry run. Add --apply to write it.")
    return lines


def _note_lines(report: ImportReport) -> list[str]:
    lines: list[str] = []
    by_field: dict[str, list[str]] = {}
    for note in report.notes:
        by_field.setdefault(note.field, []).append(str(note))
    for notes in by_field.values():
        lines += notes[:SHOWN]
        if len(notes) > SHOWN:
            lines.append(f"… and {len(notes) - SHOWN:,} more; --notes-out FILE.csv writes all.")
    return lines


def _counted(number: int, word: str) -> str:
    return f"1 {word}" if number == 1 else f"{number:,} {word}s"


def _listed(head: str, items: list[str]) -> list[str]:
    if not items:
        return []
    more = [f"  … and {len(items) - SHOWN:,} more"] if len(items) > SHOWN else []
    shown = (f"  {each}" for each in items[:SHOWN])
    return [f"{head}: {_counted(len(items), 'row')}", *shown, *more]
