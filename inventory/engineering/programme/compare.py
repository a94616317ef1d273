"""A plan year by year, and what changed between two."""

from dataclasses import dataclass

import numpy as np

from inventory.engineering.programme.problem import NOT_PLANNED, FloatArray, WholeArray
from inventory.engineering.programme.risk import YearlyRisk


@dataclass(frozen=True, slots=True, eq=False)
class YearByYear:
    """
    A plan in figures, an entry per year.

    ``below`` and ``class_1_below`` are expected numbers of signs that fail at the year's end,
    by level or by damage; ``risk`` weighs them by class.
    """

    replaced: WholeArray
    money: FloatArray
    crew_hours: FloatArray
    below: FloatArray
    class_1_below: FloatArray
    risk: FloatArray

    @property
    def risk_left(self) -> float:
        """Return the risk over all years."""
        return float(self.risk.sum())


def year_by_year(
    risk: YearlyRisk,
    year: WholeArray,
    *,
    safety_class: WholeArray,
    money: FloatArray,
    crew_hours: FloatArray,
) -> YearByYear:
    """
    Return a plan in figures.

    Parameters
    ----------
    risk : YearlyRisk
        Of the positions.
    year : array of int, (n,)
        The plan, −1 for none.
    safety_class : array of int, (n,)
        1 to 4.
    money, crew_hours : array of float, (years,)
        What the plan takes of each year, with its trips.

    Examples
    --------
    >>> below, new = np.array([[0.2, 0.5]]), np.zeros((1, 2))
    >>> one = YearlyRisk(below, new, np.array([10.0]), np.zeros(1))
    >>> plan = year_by_year(one, np.array([1]), safety_class=np.array([1]),
    ...                     money=np.array([0.0, 90.0]), crew_hours=np.zeros(2))
    >>> plan.replaced.tolist(), plan.below.tolist(), plan.risk_left
    ([0, 1], [0.2, 0.0], 2.0)
    """
    years = risk.below.shape[1]
    chance = risk.at(year)
    return YearByYear(
        replaced=np.bincount(year[year >= 0], minlength=years),
        money=money,
        crew_hours=crew_hours,
        below=chance.sum(axis=0),
        class_1_below=chance[safety_class == 1].sum(axis=0),
        risk=risk.weight @ chance,
    )


@dataclass(frozen=True, slots=True)
class Change:
    """Where a position's year differs between two plans; −1 stands for none."""

    place: int
    before: int
    after: int

    @property
    def words(self) -> str:
        """
        Return the change in words.

        Examples
        --------
        >>> Change(0, 2027, 2029).words, Change(0, -1, 2029).words
        ('moved from 2027 to 2029', 'added, 2029')
        """
        if self.before == NOT_PLANNED:
            return f"added, {self.after}"
        if self.after == NOT_PLANNED:
            return f"taken out of {self.before}"
        return f"moved from {self.before} to {self.after}"


def changes_between(before: WholeArray, after: WholeArray) -> list[Change]:
    """Return what differs between two plans of the same positions, in their order."""
    places = np.flatnonzero(before != after)
    return [Change(int(each), int(before[each]), int(after[each])) for each in places]
