"""What a plan costs by group, and which share of all the money each group takes."""

from dataclasses import dataclass

import numpy as np

from inventory.engineering.programme.problem import FloatArray, WholeArray
from inventory.errors import OutOfRangeError


@dataclass(frozen=True, slots=True, eq=False)
class CostByGroup:
    """
    What each group takes, an entry per group.

    ``rest`` is what the total holds beyond all groups, such as trips that are shared;
    ``rest_share`` its share of the total. Shares of a total of 0 are 0.
    """

    count: WholeArray
    money: FloatArray
    share: FloatArray
    rest: float
    rest_share: float


def cost_by_group(
    cost: FloatArray, group: WholeArray, *, groups: int, total: float | None = None
) -> CostByGroup:
    """
    Return the money of each group and its share of the total.

    Parameters
    ----------
    cost : array of float, (n,)
        Of each replacement, 0 or more. [money]
    group : array of int, (n,)
        Which group each belongs to, from 0.
    groups : int
        How many groups there are, empty ones counted.
    total : float, optional
        All the money, where it holds more than these costs; left out: their sum. [money]

    Raises
    ------
    OutOfRangeError
        If the arrays differ in length, a group is none of them, or a cost is negative or not
        a number.

    References
    ----------
    .. [1] JTRP-2002/22 (Indiana): replacing is about one third of replacing and maintaining.

    Examples
    --------
    >>> found = cost_by_group(np.array([30.0, 10.0, 20.0]), np.array([0, 0, 1]), groups=2,
    ...                       total=80.0)
    >>> found.money.tolist(), found.share.tolist(), found.rest
    ([40.0, 20.0], [0.5, 0.25], 20.0)
    """
    if len(cost) != len(group):
        msg = f"There are {len(cost)} costs for {len(group)} groups; give a group for each."
        raise OutOfRangeError(msg)
    if len(group) and not ((group >= 0) & (group < groups)).all():
        msg = f"A group is outside 0 to {groups - 1}; there are {groups}."
        raise OutOfRangeError(msg)
    if not (np.isfinite(cost) & (cost >= 0)).all():
        msg = "A cost is negative or not a number; it is 0 or more."
        raise OutOfRangeError(msg)
    money: FloatArray = np.bincount(group, cost, groups).astype(float)
    whole = float(money.sum()) if total is None else total
    rest = whole - float(money.sum())
    share = money / whole if whole > 0 else np.zeros(groups)
    return CostByGroup(
        count=np.bincount(group, minlength=groups),
        money=money,
        share=share,
        rest=rest,
        rest_share=rest / whole if whole > 0 else 0.0,
    )
