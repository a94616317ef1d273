"""Bring an agency's due dates up to date, and back-test them if asked."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.management.commands.assess import DELAY_S
from inventory.models import SignForecast
from inventory.services.forecast.back_test_report import back_test_lines
from inventory.services.forecast.backtests import run_back_test
from inventory.services.forecast.refreshing import refresh_forecasts


class StageBar:
    """A bar for each stage of a long job on the error stream, gone when the work is done."""

    def __init__(self) -> None:
        """Make a bar that shows nothing until the first step."""
        self._bar: tqdm[Any] = tqdm(leave=False, delay=DELAY_S)

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Show how far a stage is."""
        if stage != self._bar.desc.removesuffix(": "):
            self._bar.set_description(stage, refresh=False)
            self._bar.reset(total=total or None)
        self._bar.total = total or None
        self._bar.update(done - self._bar.n)

    def say(self, words: str) -> None:
        """Show what is being done where nothing is counted."""
        self._bar.set_description(words, refresh=False)
        self._bar.update(0)

    def close(self) -> None:
        """Take the bar away."""
        self._bar.close()


class Command(BaseCommand):
    """Forecast; only what changed is made again, so it can be run every night and again."""

    help = "Forecast when the signs of an agency are due, from its own readings."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whose signs, and how much is made again."""
        parser.add_argument("--organisation", required=True)
        parser.add_argument(
            "--all", action="store_true", help="fit every cohort again, changed or not"
        )
        parser.add_argument(
            "--backtest",
            action="store_true",
            help="then tell later readings from earlier ones and say how well that went",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Forecast and say what came of it."""
        organisation = find_organisation(options["organisation"])
        bar = StageBar()
        try:
            summary = refresh_forecasts(
                organisation=organisation, progress=bar, is_forced=options["all"]
            )
        except InventoryError as error:
            raise CommandError(str(error)) from error
        finally:
            bar.close()
        self.stdout.write(
            f"{summary.cohorts} cohorts: {summary.fitted} fitted, "
            f"{summary.unchanged} unchanged, {summary.without_fit} not read yet on a sign "
            "of known age."
        )
        self.stdout.write(
            f"{summary.signs} installed signs: {summary.remade} forecast again, "
            f"{summary.signs - summary.remade} unchanged; {summary.suspect_lots} suspect lots."
        )
        for basis in SignForecast.Basis:
            if count := summary.bases[basis.value]:
                self.stdout.write(f"  by {basis.label}: {count}")
        if options["backtest"]:
            self._back_test(organisation)

    def _back_test(self, organisation: Any) -> None:
        bar = StageBar()
        try:
            test = run_back_test(organisation=organisation, progress=bar.say)
        except InventoryError as error:
            raise CommandError(str(error)) from error
        finally:
            bar.close()
        for line in back_test_lines(test):
            self.stdout.write(line)
