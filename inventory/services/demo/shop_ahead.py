"""What the shop states of its press, and how it answers for the order that is left for it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from inventory.errors import InventoryError
from inventory.models import (
    LabelBatch,
    LabelSheet,
    LayoutPlan,
    Press,
    PrintOrder,
    PrintRun,
    Role,
    ShopPrices,
    Sign,
)
from inventory.services.demo.job import counted, person_in
from inventory.services.demo.load import scenario_parties
from inventory.services.demo.press_history import moment
from inventory.services.demo.warranty import enter_terms, make_claim
from inventory.services.demo.words import words
from inventory.services.ordering.accepting import accept_order, answer_question, ask_about
from inventory.services.ordering.layouts.freezing import freeze_plan
from inventory.services.ordering.layouts.making import (
    Rules,
    find_turns,
    fitting_rolls,
    make_plan,
)
from inventory.services.ordering.layouts.solving import open_run, solve
from inventory.services.ordering.shop_prices import (
    adopt_published_rule,
    set_blank_price,
    set_sheeting_price,
    set_shop_prices,
)
from inventory.services.production.face_labels import Measures, add_sheet, make_batch
from inventory.services.production.laying_settings import set_press_measures, set_turns
from inventory.services.production.roll_lengths import rolls_left

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from inventory.models import Organisation, User

DESK_H = 9


@dataclass(frozen=True, slots=True)
class _Shop:
    """The parties, the moment, and the means of telling."""

    agency: Organisation
    shop: Organisation
    engineer: User
    operator: User
    now: datetime
    say: Callable[[str], None]

    @property
    def data(self) -> dict[str, Any]:
        """Return the scenario's words on the shop."""
        found: dict[str, Any] = words("scenario")["shop_ahead"]
        return found

    def tell(self, text: str) -> None:
        """Say one line."""
        self.say(f"    {text}")


def get_shop_ready(*, say: Callable[[str], None]) -> None:
    """Do on the scenario what the shop does next, each step once."""
    agency, shop = scenario_parties()
    desk = _Shop(
        agency,
        shop,
        person_in(agency, Role.ENGINEER),
        person_in(shop, Role.SHOP),
        moment(words("scenario")["shop_ahead"]["desk_day"], DESK_H),
        say,
    )
    say("At the shop: the press, the order that was left for it, its faces on the roll")
    for step in (_press, _prices, _labels, _order, _layout, _terms, _claim):
        try:
            step(desk)
        except InventoryError as error:
            desk.tell(f"Not done: {error}")


def _press(desk: _Shop) -> None:
    press = Press.objects.owned_by(desk.shop).order_by("pk")[0]
    if press.printable_width_in is None:
        set_press_measures(press=press, by=desk.operator, now=desk.now, **desk.data["press"])
        desk.tell(f"What {press} prints and loses is stated (invented).")
    turns = desk.data["turns"]
    if find_turns(desk.shop, turns["sheeting_type"], turns["optics"]) is None:
        set_turns(shop=desk.shop, by=desk.operator, now=desk.now, **turns)


def _prices(desk: _Shop) -> None:
    """Enter what material costs the shop, and take the published rule for thickness."""
    if ShopPrices.objects.owned_by(desk.shop).exists():
        return
    said = desk.data["prices"]
    done: dict[str, Any] = {"shop": desk.shop, "by": desk.operator, "now": desk.now}
    set_shop_prices(currency="$", overlay_price_ft2=Decimal(said["overlay"]), **done)
    for sheeting_type, price in said["sheeting"].items():
        set_sheeting_price(sheeting_type=sheeting_type, price_ft2=Decimal(price), **done)
    for thickness, price in said["blanks"].items():
        set_blank_price(thickness_in=Decimal(thickness), price=Decimal(price), **done)
    adopt_published_rule(**done)
    desk.tell("What sheeting, film and blanks cost is entered (invented).")


def _labels(desk: _Shop) -> None:
    """Keep a label sheet, and make the labels of the last run's faces in stock."""
    if LabelSheet.objects.owned_by(desk.shop).exists():
        return
    said = dict(desk.data["label_sheet"])
    name = said.pop("name")
    sheet = add_sheet(
        shop=desk.shop, name=name, measures=Measures(**said), by=desk.operator, now=desk.now
    )
    run = PrintRun.objects.owned_by(desk.shop).order_by("-finished_at").first()
    signs = [] if run is None else list(run.signs.filter(state=Sign.State.IN_STOCK))
    if signs and not LabelBatch.objects.owned_by(desk.shop).exists():
        make_batch(shop=desk.shop, sheet=sheet, signs=signs, by=desk.operator, now=desk.now)
        desk.tell(f"{counted(len(signs), 'label')} made for faces in stock.")


def _order(desk: _Shop) -> None:
    """Ask about the order that was left, read the answer, accept it."""
    order = _left_for_the_shop(desk)
    if order is None or order.accepted_at is not None or order.questions.exists():
        return
    question = ask_about(
        order=order,
        asker=desk.shop,
        text=desk.data["question"],
        by=desk.operator,
        now=desk.now,
    )
    answer_question(
        question=question,
        answerer=desk.agency,
        text=desk.data["answer"],
        by=desk.engineer,
        now=desk.now,
    )
    accept_order(
        order=order, promised_on=desk.data["promised_on"], by=desk.operator, now=desk.now
    )
    desk.tell(f"Order {order.number} is accepted, after a question and its answer.")


def _terms(desk: _Shop) -> None:
    """Enter what the invented suppliers promise."""
    entered = enter_terms(desk.shop, by=desk.operator, now=desk.now)
    if entered:
        desk.tell(f"{counted(entered, 'warranty term')} entered (invented).")


def _claim(desk: _Shop) -> None:
    """Claim the faces of one lot that fall short, and send the claim."""
    claim = make_claim(desk.agency, by=desk.engineer, now=desk.now)
    if claim is not None:
        faces = counted(claim.faces.count(), "colour")
        desk.tell(f"Claim {claim.number} for {faces} of faces of lot {claim.lot} sent.")


def _layout(desk: _Shop) -> None:
    """Lay out the order's faces of one sheeting on the rolls in stock, and freeze it."""
    order = _left_for_the_shop(desk)
    if order is None or order.plans.exists():
        return
    said = dict(desk.data["layout"])
    turns = desk.data["turns"]
    kind = {
        "sheeting_type": turns["sheeting_type"],
        "optics": turns["optics"],
        "base_color": said.pop("base_color"),
    }
    rolls = fitting_rolls(desk.shop, **kind)
    left = rolls_left(rolls)
    plan = make_plan(
        order=order,
        press=Press.objects.owned_by(desk.shop).order_by("pk")[0],
        rolls=[roll for roll in rolls if left[roll.pk].free_ft > 0],
        rules=Rules(**said),
        by=desk.operator,
        now=desk.now,
        **kind,
    )
    solve(open_run(plan=plan, by=desk.operator))
    plan = LayoutPlan.objects.get(pk=plan.pk)
    freeze_plan(plan=plan, by=desk.operator, now=desk.now)
    laid = plan.faces.filter(load__isnull=False).count()
    desk.tell(
        f"{counted(laid, 'face')} of order {order.number} laid on "
        f"{counted(plan.loads.count(), 'roll')}, and frozen."
    )


def _left_for_the_shop(desk: _Shop) -> PrintOrder | None:
    title = words("scenario")["job"]["next_order"]["title"]
    found: PrintOrder | None = PrintOrder.objects.filter(
        agency=desk.agency, shop=desk.shop, title=title, state=PrintOrder.State.RELEASED
    ).first()
    return found
