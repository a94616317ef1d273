"""Give a person a role in an organisation."""

import getpass
from argparse import ArgumentParser
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.models import Role, User
from inventory.services.people import add_person


class Command(BaseCommand):
    """Create a person where needed and give them a role."""

    help = "Give a person a role in an organisation; asks for a password for a new person."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Who, where and as what."""
        parser.add_argument("username")
        parser.add_argument("--organisation", required=True)
        parser.add_argument("--role", required=True, choices=Role.values)
        parser.add_argument("--first-name", default="")
        parser.add_argument("--last-name", default="")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Ask for the password where one is needed, then add."""
        password = ""
        if not User.objects.filter(username=options["username"]).exists():
            password = _ask_for_password(options["username"])
            try:
                validate_password(password)
            except ValidationError as error:
                raise CommandError(" ".join(error.messages)) from error
        try:
            person = add_person(
                username=options["username"],
                password=password,
                organisation=find_organisation(options["organisation"]),
                role=options["role"],
                first_name=options["first_name"],
                last_name=options["last_name"],
            )
        except InventoryError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(
            f"{person} is {Role(options['role']).label} at {options['organisation']}."
        )


def _ask_for_password(username: str) -> str:
    """Ask twice, at a terminal; a slip of the finger would lock the person out."""
    try:
        password = getpass.getpass(f"Password for {username}: ")
        again = getpass.getpass("The same again: ")
    except EOFError as error:
        msg = "A password is asked for and there is no terminal to type it at; run it at one."
        raise CommandError(msg) from error
    if password != again:
        msg = "The two passwords are not the same; nobody was added. Run the command again."
        raise CommandError(msg)
    return password
