"""List what waits after an import, and settle it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.core.management.base import BaseCommand, CommandError

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.models import ImportSettlement, User
from inventory.services.importing import settle
from inventory.services.importing.wording import value_words

if TYPE_CHECKING:
    from argparse import ArgumentParser

    from inventory.models import Organisation

OUTCOMES = {
    "ours": ImportSettlement.Outcome.KEEP_OURS,
    "source": ImportSettlement.Outcome.TAKE_SOURCE,
}


class Command(BaseCommand):
    """Show the rows that wait, or say for some of them whose word counts."""

    help = "List the changed rows of imports that wait for a person, or settle them by number."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Whose, which, and what to do."""
        parser.add_argument("--organisation", required=True)
        parser.add_argument("--keep", choices=OUTCOMES, help="whose word counts")
        parser.add_argument("--by", help="username of the person who decides")
        parser.add_argument("numbers", nargs="*", type=int, help="as the list shows them")

    def handle(self, *_args: Any, **options: Any) -> None:
        """List or settle."""
        organisation = find_organisation(options["organisation"])
        if not options["keep"]:
            self._list(organisation)
            return
        if not options["numbers"]:
            msg = "Say which rows, by the numbers that settle_import lists without --keep."
            raise CommandError(msg)
        by = User.objects.filter(username=options["by"]).first() if options["by"] else None
        if options["by"] and by is None:
            msg = f"There is no person '{options['by']}'; add one with manage.py add_person."
            raise CommandError(msg)
        for number in options["numbers"]:
            waiting = ImportSettlement.objects.owned_by(organisation).filter(pk=number).first()
            if waiting is None:
                msg = f"{organisation} has no row number {number} to settle."
                raise CommandError(msg)
            try:
                settled = settle(settlement=waiting, outcome=OUTCOMES[options["keep"]], by=by)
            except InventoryError as error:
                msg = f"{number}: {error}"
                raise CommandError(msg) from error
            self.stdout.write(f"{number}: {settled.get_outcome_display()}.")

    def _list(self, organisation: Organisation) -> None:
        waiting = (
            ImportSettlement.objects.owned_by(organisation)
            .filter(outcome=ImportSettlement.Outcome.OPEN)
            .select_related("record")
        )
        for each in waiting.iterator():
            self.stdout.write(f"{each.pk}: {each.record}. {each.reason}")
            for name, values in each.changes.items():
                ours, source, before = (
                    value_words(name, values[each]) for each in ("ours", "source", "before")
                )
                self.stdout.write(
                    f"    {name}: ours {ours}, source {source} (before: {before})"
                )
        if not waiting.exists():
            self.stdout.write("Nothing waits.")
