"""Let an agency's own word stand for a code."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.services.standards import add_code_alias


class Command(BaseCommand):
    """Add an alias for a code of the catalogue or of the agency's own list."""

    help = "Let an agency's own word stand for a code."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Take the word and the code."""
        parser.add_argument("alias")
        parser.add_argument("code")
        parser.add_argument("--organisation", required=True)

    def handle(self, *_args: Any, **options: Any) -> None:
        """Add it and say so."""
        try:
            row = add_code_alias(
                organisation=find_organisation(options["organisation"]),
                alias=options["alias"],
                code=options["code"],
                now=timezone.now(),
            )
        except InventoryError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Added: {row}.")
