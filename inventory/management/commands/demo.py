"""Load the invented demo scenario and run the main job on it, told step by step."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.errors import InventoryError
from inventory.interchange.sign_lists import read_sign_list
from inventory.management.commands.load_demo import Bars
from inventory.services.demo.forecast_steps import look_ahead
from inventory.services.demo.load import load_scenario
from inventory.services.demo.logins import demo_logins
from inventory.services.demo.main_job import run_main_job
from inventory.services.demo.programme_steps import plan_ahead
from inventory.services.demo.shop_ahead import get_shop_ready
from inventory.services.demo.words import fixtures_directory, words

if TYPE_CHECKING:
    from argparse import ArgumentParser

    from inventory.services.importing.rows import SourceList


class Command(BaseCommand):
    """Load what is not there, do what is not done, and say how to look at it."""

    help = "Load the demo scenario where it is missing, and do what is left of the main job."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """How much of the scenario."""
        parser.add_argument(
            "--size", type=float, default=1.0, help="share of the signs, over 0 to 1"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Tell each step, then addresses and logins."""
        self.stdout.write("The county, its people, its signs and its readings are invented.\n")
        try:
            with Bars(sys.stderr) as bars:
                result = load_scenario(size=options["size"], progress=bars)
                self.stdout.write(
                    f"{'Loaded' if result.is_new else 'Already loaded'}: "
                    f"{result.sign_count:,} signs up on {result.support_count:,} supports, "
                    f"{result.inspection_count:,} inspections.\n"
                )
                today = result.agency.day_of(timezone.now())
                job = run_main_job(
                    source=_read_list(), say=self.stdout.write, progress=bars, today=today
                )
                get_shop_ready(say=self.stdout.write)
                look_ahead(say=self.stdout.write, progress=bars)
                plan_ahead(say=self.stdout.write, progress=bars, today=today)
        except InventoryError as error:
            raise CommandError(str(error)) from error
        if result.is_new and job.not_done:
            # Nobody can have changed anything yet: something is wrong with the program.
            msg = f"The main job stopped at: {', '.join(job.not_done)}."
            raise CommandError(msg)
        self.stdout.write("\nSign in:")
        for login in demo_logins():
            self.stdout.write(
                f"    {login.role:<18}{login.username:<12}{login.password:<20}{login.address}"
            )


def _read_list() -> SourceList:
    job = words("scenario")["job"]
    folder = fixtures_directory()
    mapping = (folder / job["list_mapping"]).read_text(encoding="utf-8")
    return read_sign_list(folder / job["list_file"], mapping, today=job["desk_day"])
