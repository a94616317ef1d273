"""Set what replacing costs an agency and how long it takes, from a file or by options."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import date
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.errors import InventoryError, OutOfRangeError
from inventory.interchange.work_basis_file import (
    BY_SUPPORT,
    DAY,
    LEAD,
    NUMBERS,
    TEXTS,
    WEIGHTS,
    check_support_hours,
    read_work_basis,
)
from inventory.management.commands.add_organisation import find_organisation
from inventory.models import WorkBasis
from inventory.services.programme.work_bases import (
    changed_figures,
    figures_of,
    find_work_basis,
    missing_figures,
    set_work_basis,
)


class Command(BaseCommand):
    """Add the next version of what work costs and takes; earlier versions stay."""

    help = "Set what replacing a sign costs and how long it takes, from a file or by options."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whose, from when, and each figure; an option goes before the file."""
        parser.add_argument("--organisation", required=True)
        parser.add_argument(
            "--file", type=Path, help="a .toml or .json file with the figures by their names"
        )
        parser.add_argument(
            "--effective-on", type=_day, help="left out: as in the file, or today"
        )
        parser.add_argument(
            "--basis", help="where the figures come from; or that you assume them"
        )
        parser.add_argument("--currency", help="such as $")
        for name in NUMBERS:
            parser.add_argument(_option(name), type=float, help=_words(name))
        parser.add_argument(_option(LEAD), type=int, help=_words(LEAD))
        parser.add_argument(
            _option(WEIGHTS), type=_weights, help="of classes 1 to 4, such as 10,4,2,1"
        )
        parser.add_argument(
            "--hours-at",
            action="append",
            default=[],
            type=_hours_at,
            metavar="SUPPORT=HOURS",
            help="hours added for a type of support, such as u_channel=0.1; may be given again",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Set it, and say what is other than before."""
        try:
            agency = find_organisation(options["organisation"])
            given = self._given(options)
            day = given.pop(DAY, None) or agency.day_of(timezone.now())
            before = find_work_basis(agency, day)
            figures = ({} if before is None else figures_of(before)) | given
            if options["hours_at"]:
                typed = check_support_hours(dict(options["hours_at"]), "--hours-at")
                figures[BY_SUPPORT] = figures.get(BY_SUPPORT, {}) | typed
            figures.pop("basis", None)
            basis = str(given.get("basis") or "")
            if not basis.strip():
                msg = (
                    "Say where these figures come from: --basis, or basis in the file. If you "
                    "assume them, say that."
                )
                raise OutOfRangeError(msg)
            missing = missing_figures(figures)
            if missing:
                msg = (
                    f"{agency} has no version in force on {day:%Y-%m-%d} to take these from; "
                    f"give them: {', '.join(missing)}."
                )
                raise OutOfRangeError(msg)
            made = set_work_basis(agency=agency, effective_on=day, basis=basis, **figures)
        except InventoryError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Set: {made}.")
        if before is not None:
            changed = changed_figures(before, made)
            kept = "the rest" if changed else "all"
            for name, old, new in changed:
                self.stdout.write(f"  {name}: {old} → {new}")
            self.stdout.write(f"  {kept} as in version {before.version}")

    def _given(self, options: dict[str, Any]) -> dict[str, Any]:
        """Return the figures of the file, with those of the options over them."""
        given = {} if options["file"] is None else read_work_basis(options["file"])
        for name in (DAY, *TEXTS, *NUMBERS, LEAD, WEIGHTS):
            if options[name] is not None:
                given[name] = options[name]
        return given


def _words(name: str) -> str:
    """Return what a figure is, as its record says, for argparse."""
    return str(getattr(WorkBasis._meta.get_field(name), "help_text", "")).replace("%", "%%")


def _option(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        msg = f"'{text}' is no day; write it as year-month-day, for example 2027-01-31"
        raise ArgumentTypeError(msg) from error


def _weights(text: str) -> list[float]:
    try:
        return [float(each) for each in text.split(",")]
    except ValueError as error:
        msg = f"'{text}' cannot be read; write four numbers with commas, such as 10,4,2,1"
        raise ArgumentTypeError(msg) from error


def _hours_at(text: str) -> tuple[str, float]:
    kind, _equals, hours = text.partition("=")
    try:
        return kind, float(hours)
    except ValueError as error:
        msg = f"'{text}' cannot be read; write it like u_channel=0.1, in hours"
        raise ArgumentTypeError(msg) from error
