"""What crew days are asked for: which crews and work, at which hours, how long to search."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Self

from inventory.errors import OutOfRangeError

MINUTES_A_DAY = 1440
LEAST_SECONDS, MOST_SECONDS = 2, 60
# Hours at which work may begin, where the agency says nothing else: assumptions.
BY_DAY = (7 * 60, 18 * 60)
BY_NIGHT = (21 * 60, 28 * 60)


@dataclass(frozen=True, slots=True)
class CrewDaysAsked:
    """
    What an engineer asks for.

    Hours are minutes of the day between which work may begin; those of the night run over
    midnight. ``month`` narrows a year's work to what is due by the end of that month.
    """

    crews: tuple[int, ...]
    takes_planned: bool = True
    takes_damage: bool = True
    takes_left_over: bool = True
    packages: tuple[int, ...] = ()
    month: int | None = None
    by_day: tuple[int, int] = BY_DAY
    by_night: tuple[int, int] = BY_NIGHT
    days_off: tuple[date, ...] = ()
    seconds: int = 20

    def __post_init__(self) -> None:
        if not self.crews:
            msg = "No crew is ticked; tick the crews that can go out."
            raise OutOfRangeError(msg)
        has_work = self.takes_planned or self.takes_damage or self.takes_left_over
        if not (has_work or self.packages):
            msg = "No work is ticked; tick what the crews are to do."
            raise OutOfRangeError(msg)
        if not LEAST_SECONDS <= self.seconds <= MOST_SECONDS:
            msg = (
                f"The search is to take {self.seconds} seconds; give {LEAST_SECONDS} to "
                f"{MOST_SECONDS}."
            )
            raise OutOfRangeError(msg)
        if self.month is not None and not 1 <= self.month <= 12:
            msg = f"There is no month {self.month}; pick one of the twelve, or the whole year."
            raise OutOfRangeError(msg)
        for name, (begin, end) in (("day", self.by_day), ("night", self.by_night)):
            if not (0 <= begin < MINUTES_A_DAY and begin < end <= begin + MINUTES_A_DAY):
                msg = (
                    f"Work by {name} may begin from minute {begin} to {end}; give a time of "
                    "day and a later one, at most a day apart."
                )
                raise OutOfRangeError(msg)

    def as_json(self) -> dict[str, Any]:
        """Return it as it is stored."""
        return asdict(self) | {"days_off": [each.isoformat() for each in self.days_off]}

    @classmethod
    def of_json(cls, stored: dict[str, Any]) -> Self:
        """Return it from what was stored."""
        fields = dict(stored)
        for name in ("crews", "packages", "by_day", "by_night"):
            fields[name] = tuple(fields[name])
        fields["days_off"] = tuple(date.fromisoformat(each) for each in fields["days_off"])
        return cls(**fields)
