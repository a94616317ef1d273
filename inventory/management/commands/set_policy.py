"""Set the rules an agency judges by, from a date on."""

from argparse import ArgumentParser, ArgumentTypeError
from datetime import date
from typing import Any

from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from inventory.errors import InventoryError
from inventory.management.commands.add_organisation import find_organisation
from inventory.management.commands.assess import ProgressBar
from inventory.models import AgencyPolicy
from inventory.services.people import set_policy
from inventory.services.policy_comparison import compare_policy

# Options that may be left out, for what is shipped to hold.
FIELD_OF_OPTION = {
    "decision_rule": "decision_rule",
    "guard_probability": "guard_probability",
    "repeatability": "instrument_repeatability_rel",
    "common": "instrument_common_rel",
    "single_scatter": "single_reading_scatter_rel",
    "uncertainty_basis": "uncertainty_basis",
    "due_probability": "due_probability",
    "due_soon_months": "due_soon_months",
    "fluorescent_yellow_basis": "fluorescent_yellow_basis",
    "fluorescent_orange_basis": "fluorescent_orange_basis",
}


class Command(BaseCommand):
    """Add the next version of an agency's rules; earlier versions stay."""

    help = "Set the rules an agency judges by, from a date on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Edition, date, basis and the choices."""
        parser.add_argument("--organisation", required=True)
        parser.add_argument("--edition", required=True, help="2009 or 11th-2023")
        parser.add_argument("--effective-on", required=True, type=_day)
        parser.add_argument("--basis", required=True, help="the decision the rules rest on")
        parser.add_argument(
            "--exclude", action="append", default=[], help="key of an exclusion clause"
        )
        parser.add_argument(
            "--use-recommended-levels",
            action="store_true",
            help="judge blue and brown signs by the 2012 recommendation",
        )
        parser.add_argument(
            "--decision-rule", choices=AgencyPolicy.DecisionRule.values, help="how it decides"
        )
        parser.add_argument(
            "--guard-probability",
            type=float,
            help="how sure a guarded verdict is, such as 0.95",
        )
        parser.add_argument("--repeatability", type=float, help="share of a reading, as 0.03")
        parser.add_argument(
            "--common", type=float, help="share that a session's readings have in common"
        )
        parser.add_argument(
            "--single-scatter", type=float, help="scatter taken for a single reading"
        )
        parser.add_argument("--uncertainty-basis", help="where these three figures come from")
        parser.add_argument(
            "--fluorescent-yellow-basis",
            help="why fluorescent yellow is judged by the yellow row; left out: no level",
        )
        parser.add_argument(
            "--fluorescent-orange-basis",
            help="why fluorescent orange is judged by the orange row; left out: no level",
        )
        parser.add_argument(
            "--due-probability",
            type=float,
            help="a sign is due when it is this probable to have fallen below its level",
        )
        parser.add_argument(
            "--due-soon-months", type=int, help="months within which a due date is soon"
        )
        parser.add_argument(
            "--damage-days",
            action="append",
            default=[],
            type=_damage_days,
            metavar="SEVERITY:CLASS=DAYS",
            help="time for putting damage right, such as severe:1=1; may be given again",
        )
        parser.add_argument(
            "--compare",
            action="store_true",
            help="only show what these rules would change; store nothing",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Set them and say which version they are."""
        given = {name: options[option] for option, name in FIELD_OF_OPTION.items()}
        fields: dict[str, Any] = {
            "agency": find_organisation(options["organisation"]),
            "effective_on": options["effective_on"],
            "edition": options["edition"],
            "basis": options["basis"],
            "excluded_groups": options["exclude"],
            "uses_recommended_levels": options["use_recommended_levels"],
            **{name: value for name, value in given.items() if value is not None},
        }
        if options["damage_days"]:
            fields["damage_days"] = _by_severity(options["damage_days"])
        try:
            if options["compare"]:
                self._compare(fields)
            else:
                self.stdout.write(f"Set: {set_policy(**fields)}.")
        except ValidationError as error:
            raise CommandError("; ".join(error.messages)) from error
        except InventoryError as error:
            raise CommandError(str(error)) from error

    def _compare(self, fields: dict[str, Any]) -> None:
        """Say how many signs would have which other verdict."""
        bar = ProgressBar("comparing")
        try:
            compared = compare_policy(**fields, progress=bar)
        finally:
            bar.close()
        self.stdout.write(
            f"{len(compared.changed)} of {compared.signs} signs would have another verdict; "
            "nothing was stored."
        )
        for (before, after), number in sorted(compared.counts.items()):
            if before != after:
                self.stdout.write(f"  {before} → {after}: {number}")


def _damage_days(text: str) -> tuple[str, str, int]:
    """Return one time for putting damage right, as it was typed."""
    head, _equals, days = text.partition("=")
    severity, _colon, number = head.partition(":")
    if not days.isdecimal():
        msg = f"'{text}' cannot be read; write it like severe:1=1, in whole days."
        raise ArgumentTypeError(msg)
    return severity, number, int(days)


def _by_severity(typed: list[tuple[str, str, int]]) -> dict[str, dict[str, int]]:
    found: dict[str, dict[str, int]] = {}
    for severity, number, days in typed:
        found.setdefault(severity, {})[number] = days
    return found


def _day(text: str) -> date:
    """Return a day written as 2026-01-31."""
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        msg = f"'{text}' is no day; write it as year-month-day, for example 2026-01-31"
        raise ArgumentTypeError(msg) from error
