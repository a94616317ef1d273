"""What a replacement programme chooses: a year, or none, for every position."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from inventory.errors import OutOfRangeError

FloatArray = npt.NDArray[np.float64]
WholeArray = npt.NDArray[np.int64]
TruthArray = npt.NDArray[np.bool_]

NOT_PLANNED = -1  # a position replaced in no year of the programme
FREE = -2  # a position nobody has locked


@dataclass(frozen=True, slots=True, eq=False)
class ProgrammeProblem:
    """
    Positions, years, and what there is to spend in each.

    Parameters
    ----------
    value : array of float, (n, years)
        Risk that replacing the position in the year takes away, against not replacing it.
    cost : array of float, (n,)
        Money for one replacement, over 0.
    crew_hours : array of float, (n,)
        Hours of a crew for one replacement, 0 or more. [h]
    budget : array of float, (years,)
        Money of each year, 0 or more.
    crew_hours_limit : array of float, (years,)
        Crew hours of each year, 0 or more. [h]
    is_allowed : array of bool, (n, years), optional
        Whether the position may be replaced in the year: a warranty claim waits, for example.
    must_by : array of int, (n,), optional
        Last year, from 0, in which the position has to be replaced; −1 where it need not be.
    locked : array of int, (n,), optional
        Year the choice is locked to, −1 locked to none, −2 free.

    Raises
    ------
    OutOfRangeError
        If arrays differ in length or a figure is outside these bounds.

    Examples
    --------
    >>> one = ProgrammeProblem(np.array([[3.0, 1.0]]), np.array([100.0]), np.array([0.5]),
    ...                        np.array([50.0, 200.0]), np.array([8.0, 8.0]))
    >>> one.count, one.years
    (1, 2)
    """

    value: FloatArray
    cost: FloatArray
    crew_hours: FloatArray
    budget: FloatArray
    crew_hours_limit: FloatArray
    is_allowed: TruthArray = field(default_factory=lambda: np.empty((0, 0), dtype=np.bool_))
    must_by: WholeArray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    locked: WholeArray = field(default_factory=lambda: np.empty(0, dtype=np.int64))

    def __post_init__(self) -> None:
        if self.value.ndim != 2 or not 1 <= self.value.shape[1] <= 15:
            msg = (
                f"The values have shape {self.value.shape}; a row per position, 1 to 15 years."
            )
            raise OutOfRangeError(msg)
        count, years = self.value.shape
        if not self.is_allowed.size:
            object.__setattr__(self, "is_allowed", np.ones((count, years), dtype=np.bool_))
        if not self.must_by.size:
            object.__setattr__(self, "must_by", np.full(count, -1, dtype=np.int64))
        if not self.locked.size:
            object.__setattr__(self, "locked", np.full(count, FREE, dtype=np.int64))
        for name, number in (
            ("cost", count),
            ("crew_hours", count),
            ("must_by", count),
            ("locked", count),
            ("is_allowed", count),
            ("budget", years),
            ("crew_hours_limit", years),
        ):
            if len(getattr(self, name)) != number:
                msg = f"{name} has {len(getattr(self, name))} entries for {number}."
                raise OutOfRangeError(msg)
        self._check_figures(years)

    def _check_figures(self, years: int) -> None:
        """Refuse a figure outside its bounds, naming it."""
        for name, values, is_right, bound in (
            ("cost", self.cost, self.cost > 0, "over 0"),
            ("crew hours", self.crew_hours, self.crew_hours >= 0, "0 or more"),
            ("budget", self.budget, self.budget >= 0, "0 or more"),
            (
                "limit of crew hours",
                self.crew_hours_limit,
                self.crew_hours_limit >= 0,
                "0 or more",
            ),
            (
                "last year",
                self.must_by,
                (self.must_by >= -1) & (self.must_by < years),
                f"-1 to {years - 1}",
            ),
            (
                "locked year",
                self.locked,
                (self.locked >= FREE) & (self.locked < years),
                f"-2 to {years - 1}",
            ),
        ):
            if not (is_right & np.isfinite(values)).all():
                place = int(np.argmin(is_right & np.isfinite(values)))
                msg = f"The {name} at place {place} is {values[place]:g}; it is {bound}."
                raise OutOfRangeError(msg)
        if not np.isfinite(self.value).all():
            msg = "A value is not a finite number; leave a year out by is_allowed instead."
            raise OutOfRangeError(msg)

    @property
    def count(self) -> int:
        """Return the number of positions."""
        return len(self.value)

    @property
    def years(self) -> int:
        """Return the number of years."""
        return int(self.value.shape[1])

    def options(self) -> tuple[TruthArray, TruthArray]:
        """
        Return which years each position may take, and whether it may take none.

        A locked choice leaves nothing else; a must leaves its years up to the last one.

        Examples
        --------
        >>> both = ProgrammeProblem(np.zeros((2, 3)), np.ones(2), np.ones(2), np.ones(3),
        ...     np.ones(3), must_by=np.array([1, -1]), locked=np.array([-2, 2]))
        >>> years, none = both.options()
        >>> years.tolist(), none.tolist()
        ([[True, True, False], [False, False, True]], [False, False])
        """
        may = self.is_allowed.copy()
        none = self.must_by < 0
        year = np.arange(self.years)
        must = ~none
        may[must] &= year <= self.must_by[must, None]
        is_locked = self.locked != FREE
        may[is_locked] = year == self.locked[is_locked, None]
        none = np.where(is_locked, self.locked == NOT_PLANNED, none)
        return may, none

    def spent(self, year: WholeArray) -> tuple[FloatArray, FloatArray]:
        """Return money and crew hours of each year under a plan (−1: not planned)."""
        done = year >= 0
        money: FloatArray = np.bincount(year[done], self.cost[done], self.years).astype(float)
        hours: FloatArray = np.bincount(year[done], self.crew_hours[done], self.years).astype(
            float
        )
        return money, hours

    def value_of(self, year: WholeArray) -> float:
        """Return the risk a plan takes away."""
        done = np.flatnonzero(year >= 0)
        return float(self.value[done, year[done]].sum())

    def fits(self, year: WholeArray) -> bool:
        """Return whether a plan keeps every limit, every must and every lock."""
        may, none = self.options()
        done = year >= 0
        if not none[~done].all() or not may[np.flatnonzero(done), year[done]].all():
            return False
        money, hours = self.spent(year)
        # Sums of money and hours carry the rounding of floating point.
        return bool(
            (money <= self.budget * (1 + 1e-9) + 1e-9).all()
            and (hours <= self.crew_hours_limit * (1 + 1e-9) + 1e-9).all()
        )
