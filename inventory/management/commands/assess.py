"""Judge every installed sign of an agency against its levels."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.services.assessment import assess_signs

DELAY_S = 1.0  # what is done sooner shows no bar


class ProgressBar:
    """A bar on the error stream, gone when the work is done."""

    def __init__(self, words: str) -> None:
        """Make a bar that shows nothing until the first step."""
        self._bar: tqdm[Any] = tqdm(desc=words, unit=" signs", leave=False, delay=DELAY_S)

    def __call__(self, done: int, total: int) -> None:
        """Show how far it is."""
        self._bar.total = total
        self._bar.update(done - self._bar.n)

    def close(self) -> None:
        """Take the bar away."""
        self._bar.close()


class Command(BaseCommand):
    """Judge; signs of which nothing changed keep their assessment, so it can be run again."""

    help = "Judge every installed sign of an agency against its levels."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whose signs."""
        parser.add_argument("--organisation", required=True)

    def handle(self, *_args: Any, **options: Any) -> None:
        """Judge and say what came of it."""
        organisation = find_organisation(options["organisation"])
        bar = ProgressBar("judging")
        try:
            counts = assess_signs(organisation=organisation, progress=bar)
        except InventoryError as error:
            raise CommandError(str(error)) from error
        finally:
            bar.close()
        self.stdout.write(
            f"{counts.signs} signs judged: {counts.new} new, {counts.unchanged} unchanged."
        )
        for verdict, number in sorted(counts.verdicts.items()):
            self.stdout.write(f"  {verdict}: {number}")
