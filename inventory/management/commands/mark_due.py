"""Rebuild the standing and the due list of an agency."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.management.commands.assess import ProgressBar
from inventory.services.assessment import mark_due


class Command(BaseCommand):
    """Rebuild; run it once a day, since planned years begin, and after a change by hand."""

    help = "Rebuild the standing of every installed sign of an agency, and its due list."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whose signs."""
        parser.add_argument("--organisation", required=True)

    def handle(self, *_args: Any, **options: Any) -> None:
        """Rebuild and say what is due."""
        organisation = find_organisation(options["organisation"])
        bar = ProgressBar("standing")
        try:
            summary = mark_due(organisation=organisation, progress=bar)
        except InventoryError as error:
            raise CommandError(str(error)) from error
        finally:
            bar.close()
        self.stdout.write(
            f"{summary.due} of {summary.signs} installed signs are due; {summary.not_ours} "
            f"signs of others are never due; {summary.dropped} rows of signs no longer up "
            "were dropped."
        )
        for number, count in sorted(summary.due_of_class.items()):
            self.stdout.write(f"  class {number}: {count}")
