"""The shop accepts an order with a day, or asks; the agency answers; either may ask later."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.errors import OutOfRangeError, StateConflictError
from inventory.models import OrderAnswer, OrderQuestion, Organisation, PrintOrder
from inventory.services.ordering.builds import freeze_builds
from inventory.services.ordering.life import UNDER_WAY, log_for_both
from inventory.services.ordering.lines import lock_order

if TYPE_CHECKING:
    from datetime import date, datetime

    from inventory.models import User

MOST_LETTERS = 2_000


@transaction.atomic
def accept_order(
    *,
    order: PrintOrder,
    promised_on: date,
    by: User | None = None,
    now: datetime | None = None,
) -> PrintOrder:
    """
    Accept a released order for a day; accepted again, the day is another, and both see it.

    An open question of the shop's own keeps it from accepting: the answer may change the order.
    At the first acceptance each line keeps the shop's build rule that fits it best.
    """
    now = now or timezone.now()
    order = lock_order(order)
    if order.state not in UNDER_WAY:
        msg = f"Order {order.number} is {order.get_state_display()} and is not accepted."
        raise StateConflictError(msg)
    today = order.shop.day_of(now)
    if promised_on < today:
        msg = f"{promised_on:%Y-%m-%d} is past; promise today ({today:%Y-%m-%d}) or later."
        raise OutOfRangeError(msg)
    if (
        order.accepted_at is None
        and order.questions.filter(is_by_shop=True, answer__isnull=True).exists()
    ):
        msg = f"A question about order {order.number} is not answered yet; wait for the answer."
        raise StateConflictError(msg)
    before = order.promised_on
    builds = ""
    if order.accepted_at is None:
        order.accepted_at, order.accepted_by = now, by
        builds = freeze_builds(order).words
    order.promised_on = promised_on
    order.save(update_fields=["accepted_at", "accepted_by", "promised_on"])
    words = f"accepted, to leave the shop by {promised_on:%Y-%m-%d}."
    if before is not None and before != promised_on:
        words = f"now promised for {promised_on:%Y-%m-%d}, before for {before:%Y-%m-%d}."
    log_for_both(order, by, "accept order", f"{words}{builds}", now)
    return order


@transaction.atomic
def ask_about(
    *,
    order: PrintOrder,
    asker: Organisation,
    text: str,
    by: User | None = None,
    now: datetime | None = None,
) -> OrderQuestion:
    """Ask the other party something about a released order."""
    now = now or timezone.now()
    order = lock_order(order)
    _check_party(order, asker)
    if order.state not in UNDER_WAY:
        msg = (
            f"Order {order.number} is {order.get_state_display()}; nothing is asked of it now."
        )
        raise StateConflictError(msg)
    question: OrderQuestion = OrderQuestion.objects.create(
        order=order,
        text=_checked(text, "question"),
        asked_at=now,
        asked_by=by,
        is_by_shop=asker.pk == order.shop_id,
    )
    log_for_both(order, by, "ask about order", f"asked by {asker}: {question.text}", now)
    return question


@transaction.atomic
def answer_question(
    *,
    question: OrderQuestion,
    answerer: Organisation,
    text: str,
    by: User | None = None,
    now: datetime | None = None,
) -> OrderAnswer:
    """Answer the other party's question, once."""
    now = now or timezone.now()
    order = lock_order(question.order)
    _check_party(order, answerer)
    if question.is_by_shop == (answerer.pk == order.shop_id):
        msg = f"This question is {answerer}'s own; the other party answers it."
        raise StateConflictError(msg)
    told = _checked(text, "answer")
    try:
        with transaction.atomic():
            answer: OrderAnswer = OrderAnswer.objects.create(
                question=question, text=told, answered_at=now, answered_by=by
            )
    except IntegrityError as error:
        msg = "This question is answered already; ask or write anew what is to be added."
        raise StateConflictError(msg) from error
    log_for_both(order, by, "answer about order", f"answered by {answerer}: {told}", now)
    return answer


def _check_party(order: PrintOrder, party: Organisation) -> None:
    if party.pk not in (order.agency_id, order.shop_id):
        msg = f"Order {order.number} is between {order.agency} and {order.shop}, not {party}."
        raise StateConflictError(msg)


def _checked(text: str, what: str) -> str:
    told = text.strip()
    if not told or len(told) > MOST_LETTERS:
        msg = f"The {what} has {len(told):,} letters; write 1 to {MOST_LETTERS:,}."
        raise OutOfRangeError(msg)
    return told
