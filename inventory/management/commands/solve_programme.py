"""Solve a programme: the run a page began, or a programme by its name."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.models import Programme, ProgrammeRun
from inventory.services.programme.solving import open_run, solve


class Command(BaseCommand):
    """Solve; asked to stop on the programme's page, it keeps the best plan so far."""

    help = "Solve a programme of replacements, and store the plan."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which run, or whose programme."""
        parser.add_argument("--run", type=int, help="the run that a page began")
        parser.add_argument("--organisation", help="with --name: whose programme")
        parser.add_argument("--name", help="the programme")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Solve, and say what came of it."""
        try:
            programme = solve(self._run(options))
        except InventoryError as error:
            raise CommandError(str(error)) from error
        result = programme.result
        replaced = sum(each["replaced"] for each in result["by_year"])
        self.stdout.write(
            f"{programme.name}: {replaced:,} signs planned; risk left "
            f"{result['risk_left']:,.0f} of {result['risk_nothing']:,.0f}."
        )
        self.stdout.write(result["gap_words"])

    def _run(self, options: dict[str, Any]) -> ProgrammeRun:
        if options["run"] is not None:
            found: ProgrammeRun | None = ProgrammeRun.objects.filter(
                pk=options["run"], finished_at__isnull=True
            ).first()
            if found is None:
                msg = (
                    f"There is no open run {options['run']}; begin one on the programme's page."
                )
                raise CommandError(msg)
            return found
        if not (options["organisation"] and options["name"]):
            msg = "Say which programme: --organisation and --name, or --run."
            raise CommandError(msg)
        organisation = find_organisation(options["organisation"])
        programme = (
            Programme.objects.owned_by(organisation).filter(name=options["name"]).first()
        )
        if programme is None:
            msg = f"{organisation} has no programme '{options['name']}'."
            raise CommandError(msg)
        return open_run(programme=programme)
