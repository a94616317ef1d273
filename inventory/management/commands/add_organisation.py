"""Create a road agency or a sign shop."""

from argparse import ArgumentParser
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from inventory.models import Organisation
from inventory.services.people import add_customer, create_organisation


class Command(BaseCommand):
    """Create an organisation; a shop may be given the agencies it prints for."""

    help = "Create a road agency or a sign shop."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name, kind and the rest."""
        parser.add_argument("name")
        parser.add_argument("--kind", required=True, choices=Organisation.Kind.values)
        parser.add_argument("--initials", default="", help="as marked on a sign's back")
        parser.add_argument("--time-zone", default="UTC", help="for example America/Chicago")
        parser.add_argument(
            "--prints-for", action="append", default=[], help="name of an agency (for a shop)"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Create it and say so."""
        try:
            organisation = create_organisation(
                name=options["name"],
                kind=options["kind"],
                initials=options["initials"],
                time_zone=options["time_zone"],
            )
        except ValidationError as error:
            raise CommandError("; ".join(error.messages)) from error
        for name in options["prints_for"]:
            add_customer(shop=organisation, agency=find_organisation(name))
        self.stdout.write(f"Created {organisation.get_kind_display()} '{organisation}'.")


def find_organisation(name: str) -> Organisation:
    """Return the organisation of that name, or say which names there are."""
    organisation = Organisation.objects.filter(name=name).first()
    if organisation is None:
        names = ", ".join(f"'{n}'" for n in Organisation.objects.values_list("name", flat=True))
        msg = f"There is no organisation '{name}'. Known: {names or 'none yet'}."
        raise CommandError(msg)
    return organisation
