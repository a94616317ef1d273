"""Search for a layout: the run a page began."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.errors import InventoryError
from inventory.models import LayoutRun
from inventory.services.ordering.layouts.solving import solve


class Command(BaseCommand):
    """Search; asked to stop on the layout's page, it keeps the best so far."""

    help = "Search for a layout of faces on rolls, and store it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which run."""
        parser.add_argument("--run", type=int, required=True, help="the run that a page began")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Search, and say what came of it."""
        run = LayoutRun.objects.filter(pk=options["run"], finished_at__isnull=True).first()
        if run is None:
            msg = f"There is no open run {options['run']}; begin one on the layout's page."
            raise CommandError(msg)
        try:
            plan = solve(run)
        except InventoryError as error:
            raise CommandError(str(error)) from error
        laid = plan.faces.filter(load__isnull=False).count()
        self.stdout.write(f"{plan}: {laid} of {plan.faces.count()} faces laid.")
