"""Load the invented demo scenario."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError
from tqdm import tqdm

from inventory.errors import InventoryError
from inventory.services.demo.load import load_scenario

if TYPE_CHECKING:
    from argparse import ArgumentParser
    from types import TracebackType
    from typing import Self, TextIO

SHOW_AFTER_S = 2.0


class Bars:
    """Shows one bar per kind of work, once it takes more than two seconds."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        # Into a file a bar is written line after line: not too many of them.
        self.every_s = 0.2 if stream.isatty() else 5.0
        self.what = ""
        self.bar: tqdm[Any] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the bar that is shown."""
        if self.bar is not None:
            self.bar.close()
        self.bar = None

    def __call__(self, step: str, done: int, total: int) -> None:
        """Show that so much of a kind of work is done."""
        if self.bar is None or step != self.what:
            self.close()
            self.what = step
            self.bar = tqdm(
                desc=f"  {step}",
                total=total,
                file=self.stream,
                delay=SHOW_AFTER_S,
                mininterval=self.every_s,
                leave=False,
                ascii=" -#",
            )
        self.bar.total = total
        self.bar.update(done - self.bar.n)
        if done >= total:
            self.close()  # before anything else is written to the screen


class Command(BaseCommand):
    """Put the invented county and shop into the database, where they are not there yet."""

    help = "Load the invented demo scenario; what is there already is kept."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """How much of it, from which seed, and whether outside the demo."""
        parser.add_argument(
            "--size", type=float, default=1.0, help="share of the signs, over 0 to 1"
        )
        parser.add_argument("--seed", type=int, default=None, help="another scenario")
        parser.add_argument(
            "--force",
            action="store_true",
            help="load outside the demo; nobody can sign in with a demo password then",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Load it and say what there is."""
        try:
            with Bars(sys.stderr) as bars:
                result = load_scenario(
                    size=options["size"],
                    seed=options["seed"],
                    is_forced=options["force"],
                    progress=bars,
                )
        except InventoryError as error:
            raise CommandError(str(error)) from error
        state = "Loaded" if result.is_new else "Already there"
        self.stdout.write(
            f"{state}: {result.agency} and {result.shop}, both invented: "
            f"{result.sign_count:,} signs up on {result.support_count:,} supports, "
            f"{result.inspection_count:,} inspections."
        )
        if result.photos_made:
            self.stdout.write(f"Drew {result.photos_made} photos.")
