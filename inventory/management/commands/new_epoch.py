"""Tell every phone that this database went back in time."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.errors import InventoryError
from inventory.services.exchange.epochs import begin_epoch

if TYPE_CHECKING:
    from argparse import ArgumentParser


class Command(BaseCommand):
    """Begin a new epoch by hand, after a backup was restored."""

    help = (
        "After restoring a backup: begin a new epoch, so that every phone offers again all it "
        "still holds (30 days). Safe at any time; see docs/how-to/exchange.md."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Why."""
        parser.add_argument("--reason", required=True, help="what was restored, and why")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Begin it and print it."""
        try:
            epoch = begin_epoch(reason=options["reason"], now=timezone.now())
        except InventoryError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"Epoch {epoch.epoch} began. Phones offer again what they hold when they next send."
        )
