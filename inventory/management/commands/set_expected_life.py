"""Set how long an agency expects faces to last, from a date on, or withdraw it."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import date
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.engineering.standards.vocabulary import Color, SheetingType
from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.models import SignForecast
from inventory.services.forecast.expected_lives import faces_words, set_expected_life


class Command(BaseCommand):
    """Set an expected life; earlier ones stay on record."""

    help = "Set how long faces are expected to last where readings do not say, with its basis."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which faces, how long, and on what basis."""
        parser.add_argument("--organisation", required=True)
        parser.add_argument("--end", required=True, choices=SignForecast.End.values)
        parser.add_argument("--sheeting-type", default="", help=", ".join(SheetingType))
        parser.add_argument("--optics", default="", help="beaded or prismatic; left out: any")
        parser.add_argument(
            "--color",
            default="",
            help=f"left out: any; {', '.join(each.value for each in Color)}",
        )
        how_long = parser.add_mutually_exclusive_group(required=True)
        how_long.add_argument("--years", type=float, help="over 0, at most 60")
        how_long.add_argument(
            "--withdraw", action="store_true", help="let none hold from that day on"
        )
        parser.add_argument("--basis", required=True, help="the study or decision it rests on")
        parser.add_argument("--approved-by", required=True, help="who answers for it")
        parser.add_argument("--effective-on", required=True, type=_day)

    def handle(self, *_args: Any, **options: Any) -> None:
        """Set it and say for which faces."""
        try:
            row = set_expected_life(
                organisation=find_organisation(options["organisation"]),
                end=options["end"],
                sheeting_type=options["sheeting_type"],
                optics=options["optics"],
                color=options["color"],
                years=options["years"],
                basis=options["basis"],
                approved_by=options["approved_by"],
                effective_on=options["effective_on"],
            )
        except InventoryError as error:
            raise CommandError(str(error)) from error
        what = "withdrawn" if row.years is None else f"{row.years:g} years"
        self.stdout.write(
            f"Expected life of {faces_words(row)} ({row.get_end_display()}): {what} from "
            f"{row.effective_on:%Y-%m-%d}. Forecasts go by it when they are made next."
        )


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        msg = f"'{text}' is no day; write it as year-month-day, for example 2026-01-31"
        raise ArgumentTypeError(msg) from error
