"""What the steps of the main job share: the parties, the days, and the means of telling."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from inventory.errors import InventoryError, StateConflictError
from inventory.models import Membership, Role
from inventory.services.demo.press_history import moment
from inventory.services.demo.words import words

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import date, datetime

    from inventory.models import Organisation, PrintOrder, User
    from inventory.services.importing.reports import Progress
    from inventory.services.importing.rows import SourceList

STEPS = 9
DESK_H = 12


def counted(number: int, thing: str) -> str:
    """Return a number with its thing, in the plural where there are more or none."""
    return f"{number:,} {thing}" if number == 1 else f"{number:,} {thing}s"


@dataclass(slots=True)
class MainJobResult:
    """What the job came to, in numbers."""

    done: list[str] = field(default_factory=list)
    already_done: list[str] = field(default_factory=list)
    not_done: list[str] = field(default_factory=list)
    verdicts: dict[str, int] = field(default_factory=dict)
    due_before: int = 0
    due_after: int = 0


@dataclass(slots=True)
class Job:
    """The parties, the days and the means of telling."""

    agency: Organisation
    shop: Organisation
    engineer: User
    operator: User
    crew: User
    source: SourceList
    say: Callable[[str], None]
    tick: Progress
    result: MainJobResult
    today: date
    step: int = 0
    unjudged: int = 0
    order: PrintOrder | None = None

    @property
    def data(self) -> dict[str, Any]:
        """Return the scenario's words on the job."""
        job: dict[str, Any] = words("scenario")["job"]
        return job

    @property
    def desk(self) -> datetime:
        """Return when the engineer sits down to it."""
        return moment(self.data["desk_day"], DESK_H)

    def head(self, title: str) -> None:
        """Begin a step."""
        self.step += 1
        self.say(f"Step {self.step} of {STEPS}: {title}")

    def tell(self, text: str) -> None:
        """Say one line of a step."""
        self.say(f"    {text}")

    def mark(self, name: str, *, is_new: bool) -> None:
        """Note that a step was done now, or had been done before."""
        (self.result.done if is_new else self.result.already_done).append(name)

    def attempt(self, name: str, step: Callable[[Job], None]) -> None:
        """Do a step; what people have changed meanwhile may stand in its way, and is told."""
        try:
            step(self)
        except InventoryError as error:
            self.tell(f"Not done: {error}")
            self.result.not_done.append(name)

    def bar(self, what: str) -> Callable[[int, int], None]:
        """Return a way to show how far a step is."""
        return lambda done, total: self.tick(what, done, total)


def person_in(organisation: Organisation, role: str) -> User:
    """Return the first person of a role; the scenario has one in each."""
    member = (
        Membership.objects.filter(organisation=organisation, role=role)
        .select_related("user")
        .order_by("pk")
        .first()
    )
    if member is None:
        msg = f"{organisation} has nobody in the role '{Role(role).label}' any more; add one."
        raise StateConflictError(msg)
    user: User = member.user
    return user


def running_order(job: Job) -> PrintOrder:
    """Return the order of the job; without one, the later steps have nothing to do."""
    if job.order is None:
        msg = "there is no order to go on with."
        raise StateConflictError(msg)
    return job.order
