"""Planning ahead: what work costs, crews, two programmes, crew days, and the year's orders."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from inventory.errors import InventoryError
from inventory.models import (
    Crew,
    DamageReport,
    Position,
    PrintOrder,
    Programme,
    Role,
    Sign,
    User,
    WorkBasis,
    WorkPackage,
)
from inventory.services.crews import add_crew
from inventory.services.damage import Told, report_damage
from inventory.services.demo.job import counted, person_in
from inventory.services.demo.load import scenario_parties
from inventory.services.demo.press_history import moment
from inventory.services.demo.words import words
from inventory.services.ordering.from_programme import of_year
from inventory.services.ordering.hand_over import draft_hand_over, make_orders
from inventory.services.programme.crew_days import open_plan, plan_crew_days
from inventory.services.programme.crew_days_asked import CrewDaysAsked
from inventory.services.programme.crew_packages import make_packages
from inventory.services.programme.deciding import adopt
from inventory.services.programme.making import make_programme
from inventory.services.programme.solving import open_run, solve
from inventory.services.programme.work_bases import find_work_basis, set_work_basis
from inventory.services.standards import code_book

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from inventory.models import Organisation

PLAN_H = 21
POLISH_SECONDS = 0.3  # so that the demo stays quick
DAYS_OF_A_YEAR = (12, 31)


@dataclass(frozen=True, slots=True)
class _Ahead:
    """The parties, the moment, and the means of telling."""

    agency: Organisation
    shop: Organisation
    engineer: User
    now: datetime
    today: date
    say: Callable[[str], None]
    progress: Callable[[str, int, int], None]

    @property
    def data(self) -> dict[str, Any]:
        """Return the scenario's words on what is planned."""
        found: dict[str, Any] = words("scenario")["plan_ahead"]
        return found

    def tell(self, text: str) -> None:
        """Say one line."""
        self.say(f"    {text}")


def plan_ahead(
    *,
    say: Callable[[str], None],
    progress: Callable[[str, int, int], None],
    today: date,
) -> None:
    """
    Plan the years to come on the scenario, each step once; what is there already is said.

    Only damage is dated on ``today``, so that its clock runs; all else has the scenario's days.
    """
    agency, shop = scenario_parties()
    now = moment(words("scenario")["job"]["road_day"], PLAN_H)
    ahead = _Ahead(agency, shop, person_in(agency, Role.ENGINEER), now, today, say, progress)
    say("Planning ahead: which sign in which year, for the money and crew hours there are")
    for step in (_basis, _crews, _programmes, _crew_days, _orders, _damage):
        try:
            step(ahead)
        except InventoryError as error:
            ahead.tell(f"Not done: {error}")


def _basis(ahead: _Ahead) -> None:
    if find_work_basis(ahead.agency, ahead.today) is not None:
        return
    if WorkBasis.objects.owned_by(ahead.agency).exists():
        return
    made = set_work_basis(
        agency=ahead.agency, by=ahead.engineer, now=ahead.now, **ahead.data["work_basis"]
    )
    ahead.tell(f"What work costs is set (invented), in force from {made.effective_on}.")


def _crews(ahead: _Ahead) -> None:
    if Crew.objects.owned_by(ahead.agency).exists():
        return
    for said in ahead.data["crews"]:
        fields = {name: value for name, value in said.items() if name != "username"}
        add_crew(
            organisation=ahead.agency,
            by=ahead.engineer,
            now=ahead.now,
            person=User.objects.get(username=said["username"]),
            **fields,
        )
    ahead.tell(f"{counted(len(ahead.data['crews']), 'crew')} with their depot and skills.")


def _programmes(ahead: _Ahead) -> None:
    """Solve one programme and adopt it, and another with more money, left to compare."""
    earlier: Programme | None = None
    for number, said in enumerate(ahead.data["programmes"], start=1):
        ahead.progress("programmes", number, len(ahead.data["programmes"]))
        programme = _programme(ahead, said, earlier)
        result = programme.result
        replaced = sum(each["replaced"] for each in result["by_year"])
        ahead.tell(
            f"'{programme.name}' ({programme.get_state_display()}): "
            f"{counted(replaced, 'sign')} in {programme.years} years, "
            f"{100 * result['risk_left'] / max(result['risk_nothing'], 1e-9):.0f} % of the "
            "risk left."
        )
        earlier = programme


def _programme(ahead: _Ahead, said: dict[str, Any], earlier: Programme | None) -> Programme:
    years = ahead.data["years"]
    programme = Programme.objects.owned_by(ahead.agency).filter(name=said["name"]).first()
    if programme is None:
        programme = make_programme(
            organisation=ahead.agency,
            name=said["name"],
            first_year=ahead.data["first_year"],
            years=years,
            budget=said["budget"],
            crew_hours=said["crew_hours"],
            began_from=earlier,
            by=ahead.engineer,
            now=ahead.now,
        )
    if programme.solved_at is None:
        run = open_run(programme=programme, by=ahead.engineer)
        programme = solve(run, polish_seconds=POLISH_SECONDS, now=ahead.now)
    is_first = earlier is None
    has_adopted = (
        Programme.objects.owned_by(ahead.agency).exclude(state=Programme.State.DRAFT).exists()
    )
    if is_first and not has_adopted:
        programme = adopt(programme=programme, by=ahead.engineer, now=ahead.now)
    return programme


def _crew_days(ahead: _Ahead) -> None:
    """Split the first weeks of the adopted programme's first year into crew days."""
    programme = _adopted(ahead)
    if programme is None or WorkPackage.objects.filter(programme=programme).exists():
        return
    said = ahead.data["crew_days"]
    crews = Crew.objects.owned_by(ahead.agency).filter(is_active=True).order_by("pk")
    plan = open_plan(
        programme=programme,
        year=programme.first_year,
        first_on=said["first_on"],
        last_on=said["last_on"],
        asked=CrewDaysAsked(
            crews=tuple(crews.values_list("pk", flat=True)),
            takes_damage=False,
            takes_left_over=False,
            seconds=said["seconds"],
        ),
        by=ahead.engineer,
        now=ahead.now,
    )
    packages = make_packages(
        plan=plan_crew_days(plan), is_handed_out=False, by=ahead.engineer, now=ahead.now
    )
    stops = sum(package.stops.count() for package in packages)
    ahead.tell(
        f"{counted(len(packages), 'crew day')} of {programme.first_year} with "
        f"{counted(stops, 'stop')}, put together and not handed out yet."
    )


def _orders(ahead: _Ahead) -> None:
    """Draft the orders of the adopted programme's first year, once."""
    programme = _adopted(ahead)
    if programme is None:
        return
    year = programme.first_year
    orders = PrintOrder.objects.filter(
        agency=ahead.agency, title__startswith=f"{programme.name}, {year}"
    )
    if orders.exists():
        return
    book = code_book(ahead.agency)

    def gather() -> Any:
        return of_year(programme=programme, year=year, book=book, now=ahead.now)

    source = gather()
    draft = draft_hand_over(source=source, now=ahead.now)
    made = make_orders(
        gather=gather,
        agency=ahead.agency,
        shop=ahead.shop,
        seen=draft.digest,
        by=ahead.engineer,
        undated_by=date(year, *DAYS_OF_A_YEAR),
        now=ahead.now,
    )
    ahead.tell(
        f"{counted(made.faces, 'face')} of {year} on {counted(len(made.orders), 'draft order')}"
        f" by the day they are needed; {made.kept} kept in stock for it."
    )


def _damage(ahead: _Ahead) -> None:
    """Tell the desk of damage, on the day of now, once."""
    if DamageReport.objects.owned_by(ahead.agency).exclude(told_by="").exists():
        return
    for said in ahead.data["damage"]:
        position = (
            Position.objects.owned_by(ahead.agency)
            .filter(
                sign_code__startswith=said["code"],
                signs__state=Sign.State.INSTALLED,
                signs__responsible=Sign.Responsible.AGENCY,
                damage_reports=None,
                package_stops=None,
            )
            .order_by("pk")
            .first()
        )
        if position is None:
            continue
        fields = {name: value for name, value in said.items() if name != "code"}
        report = report_damage(
            position=position,
            told=Told(reported_at=ahead.today, notified_at=ahead.today, **fields),
            by=ahead.engineer,
        )
        ahead.tell(f"Damage told to the desk: {report.get_kind_display()}, {position}.")


def _adopted(ahead: _Ahead) -> Programme | None:
    rows = Programme.objects.owned_by(ahead.agency).filter(state=Programme.State.ADOPTED)
    found: Programme | None = rows.select_related("organisation", "work_basis").first()
    return found
