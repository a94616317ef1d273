"""What needs an agency's engineer today, most pressing first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Q
from django.utils import timezone

from inventory.engineering.assessment.vocabulary import Verdict
from inventory.models import (
    ForecastRun,
    ImportSettlement,
    LotFinding,
    PrintOrder,
    RefusedEntry,
    Sign,
    Standing,
)
from inventory.services.damage import open_damage
from inventory.services.doubts import flag_groups
from inventory.services.exchange.settling import to_decide
from inventory.services.wrong_data import open_added, open_wrong_data

if TYPE_CHECKING:
    from datetime import datetime

    from inventory.models import Organisation

FIRST_FEW = 5
SAFETY_CLASS_NUMBERS = (1, 2, 3, 4)


@dataclass(frozen=True)
class Waiting:
    """How many wait, and the first few of them."""

    count: int
    first_few: list[Any]


@dataclass(frozen=True)
class Overview:
    """What waits for a person, by what it is."""

    sign_count: int
    count_of_verdict: dict[str, int]
    damage: Waiting
    late_damage_count: int
    below: Waiting
    due: Waiting
    due_count_of_class: dict[int, int]
    undecided: Waiting
    unread: Waiting
    drafts: Waiting
    at_shop: Waiting
    to_install: Waiting
    settlements: Waiting
    doubtful: Waiting
    refused: Waiting
    from_phones: Waiting
    said_wrong_count: int
    added_count: int
    due_soon_count: int
    suspect_lots: Waiting
    forecast_at: datetime | None


BELOW = Q(verdict__in=(Verdict.BELOW.value, Verdict.SHEETING_NOT_ALLOWED.value))
UNDECIDED = Q(verdict=Verdict.UNDECIDED.value)
UNREAD = Q(verdict=Verdict.NO_USABLE_READING.value)


def overview(*, organisation: Organisation, now: datetime | None = None) -> Overview:
    """Return what waits; signs that others look after are left out, but for damage."""
    now = now or timezone.now()
    damage = open_damage(organisation)
    ours = Standing.objects.owned_by(organisation).filter(responsible=Sign.Responsible.AGENCY)
    counts = ours.aggregate(
        every=Count("pk"),
        below=Count("pk", filter=BELOW),
        due=Count("pk", filter=Q(is_due=True)),
        due_soon=Count("pk", filter=Q(is_due=False, is_due_soon=True)),
        undecided=Count("pk", filter=UNDECIDED),
        unread=Count("pk", filter=UNREAD),
        **{
            f"verdict_{n}": Count("pk", filter=Q(verdict=verdict.value))
            for n, verdict in enumerate(Verdict)
        },
        **{
            f"due_{number}": Count("pk", filter=Q(is_due=True, safety_class=number))
            for number in SAFETY_CLASS_NUMBERS
        },
    )

    def signs(condition: Q, count: int) -> Waiting:
        rows = ours.filter(condition).select_related("road")
        return Waiting(
            count, list(rows.order_by("-is_due", "due_order", "sign_id")[:FIRST_FEW])
        )

    orders = PrintOrder.objects.owned_by(organisation).select_related("shop")
    order_counts = orders.aggregate(
        **{
            state.value: Count("pk", filter=Q(state=state))
            for state in (
                PrintOrder.State.DRAFT,
                PrintOrder.State.RELEASED,
                PrintOrder.State.PRINTED,
            )
        }
    )

    def orders_in(state: PrintOrder.State) -> Waiting:
        rows = orders.filter(state=state).order_by("needed_by_on", "drafted_at", "pk")
        return Waiting(order_counts[state.value], list(rows[:FIRST_FEW]))

    open_settlements = ImportSettlement.objects.owned_by(organisation).filter(
        outcome=ImportSettlement.Outcome.OPEN
    )
    groups = flag_groups(organisation)
    refused = RefusedEntry.objects.owned_by(organisation).filter(settled_at__isnull=True)
    held = to_decide(organisation)
    suspects = LotFinding.objects.owned_by(organisation).filter(is_suspect=True)
    forecasts = ForecastRun.objects.owned_by(organisation).filter(stage=ForecastRun.Stage.DONE)
    return Overview(
        sign_count=counts["every"],
        count_of_verdict={v.value: counts[f"verdict_{n}"] for n, v in enumerate(Verdict)},
        damage=Waiting(damage.count(), list(damage[:FIRST_FEW])),
        late_damage_count=damage.filter(due_on__lt=organisation.day_of(now)).count(),
        below=signs(BELOW, counts["below"]),
        due=signs(Q(is_due=True), counts["due"]),
        due_count_of_class={n: counts[f"due_{n}"] for n in SAFETY_CLASS_NUMBERS},
        undecided=signs(UNDECIDED, counts["undecided"]),
        unread=signs(UNREAD, counts["unread"]),
        drafts=orders_in(PrintOrder.State.DRAFT),
        at_shop=orders_in(PrintOrder.State.RELEASED),
        to_install=orders_in(PrintOrder.State.PRINTED),
        settlements=Waiting(
            open_settlements.count(),
            list(open_settlements.select_related("run", "record").order_by("pk")[:FIRST_FEW]),
        ),
        doubtful=Waiting(sum(group.count for group in groups), groups[:FIRST_FEW]),
        refused=Waiting(
            refused.count(), list(refused.order_by("-received_at", "-pk")[:FIRST_FEW])
        ),
        from_phones=Waiting(
            held.count(), list(held.order_by("-received_at", "-pk")[:FIRST_FEW])
        ),
        said_wrong_count=open_wrong_data(organisation).count(),
        added_count=open_added(organisation).count(),
        due_soon_count=counts["due_soon"],
        suspect_lots=Waiting(
            suspects.count(), list(suspects.order_by("q_value", "key")[:FIRST_FEW])
        ),
        forecast_at=forecasts.order_by("-started_at", "-pk")
        .values_list("finished_at", flat=True)
        .first(),
    )
