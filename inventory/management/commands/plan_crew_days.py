"""Plan the crew days that a page asked for."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.errors import InventoryError
from inventory.models import CrewPlan
from inventory.services.programme.crew_days import plan_crew_days


class Command(BaseCommand):
    """Split the work of a programme year into crew days, to be looked at on its page."""

    help = "Plan the crew days that the page 'Crew days' of a programme year asked for."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which of those asked for."""
        parser.add_argument("--plan", type=int, required=True, help="the plan a page began")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Plan, and say what came of it."""
        plan = CrewPlan.objects.filter(pk=options["plan"], finished_at__isnull=True).first()
        if plan is None:
            msg = (
                f"There is no open plan {options['plan']}; ask for crew days on the page of a "
                "programme year."
            )
            raise CommandError(msg)
        try:
            result = plan_crew_days(plan).result
        except InventoryError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{result['days']} crew days with {result['stops']} stops; "
            f"{result['unserved']} left out."
        )
