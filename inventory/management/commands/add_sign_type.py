"""Add a sign type of the agency's own."""

from argparse import ArgumentParser
from decimal import Decimal, InvalidOperation
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.engineering.standards.vocabulary import Color, Series, Shape, SymbolClass
from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.services.standards import add_sign_type


class Command(BaseCommand):
    """Add a sign type the published catalogue does not hold."""

    help = "Add a sign type of the agency's own; what is left out stays unknown."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Code, name and what is known of the face."""
        parser.add_argument("code")
        parser.add_argument("name")
        parser.add_argument("--organisation", required=True)
        parser.add_argument("--series", required=True, choices=[s.value for s in Series])
        parser.add_argument("--shape", choices=[s.value for s in Shape])
        parser.add_argument("--background", choices=[c.value for c in Color])
        parser.add_argument("--legend", choices=[c.value for c in Color])
        parser.add_argument("--symbol-class", choices=[s.value for s in SymbolClass])
        parser.add_argument("--size", help="width x height in inches, for example 30x30")
        parser.add_argument("--plaque", action="store_true", help="hangs under another sign")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Add it and say so."""
        width_in, height_in = _size(options["size"])
        try:
            row = add_sign_type(
                organisation=find_organisation(options["organisation"]),
                code=options["code"],
                name=options["name"],
                series=Series(options["series"]),
                shape=Shape(options["shape"]) if options["shape"] else None,
                background=Color(options["background"]) if options["background"] else None,
                legend=Color(options["legend"]) if options["legend"] else None,
                symbol_class=(
                    SymbolClass(options["symbol_class"]) if options["symbol_class"] else None
                ),
                width_in=width_in,
                height_in=height_in,
                is_plaque=options["plaque"],
                now=timezone.now(),
            )
        except InventoryError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Added sign type {row}.")


def _size(text: str | None) -> tuple[Decimal | None, Decimal | None]:
    """Return width and height of a text such as 30x24, or two unknowns."""
    if not text:
        return None, None
    try:
        width, height = (Decimal(part.strip()) for part in text.lower().split("x"))
    except (InvalidOperation, ValueError) as error:
        msg = f"'{text}' is not a size; write width x height in inches, for example 30x24."
        raise CommandError(msg) from error
    return width, height
