"""Set the rules an agency judges by, from a date on."""

from argparse import ArgumentParser
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.services.people import set_policy


class Command(BaseCommand):
    """Add the next version of an agency's rules; earlier versions stay."""

    help = "Set the rules an agency judges by, from a date on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Edition, date, basis and the choices."""
        parser.add_argument("--organisation", required=True)
        parser.add_argument("--edition", required=True, help="2009 or 11th-2023")
        parser.add_argument("--effective-on", required=True, type=date.fromisoformat)
        parser.add_argument("--basis", required=True, help="the decision the rules rest on")
        parser.add_argument(
            "--exclude", action="append", default=[], help="key of an exclusion clause"
        )
        parser.add_argument(
            "--use-recommended-levels",
            action="store_true",
            help="judge blue and brown signs by the 2012 recommendation",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Set them and say which version they are."""
        try:
            policy = set_policy(
                agency=find_organisation(options["organisation"]),
                effective_on=options["effective_on"],
                edition=options["edition"],
                basis=options["basis"],
                excluded_groups=options["exclude"],
                uses_recommended_levels=options["use_recommended_levels"],
            )
        except ValidationError as error:
            raise CommandError("; ".join(error.messages)) from error
        except InventoryError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Set: {policy}.")
