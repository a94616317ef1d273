"""What replacing a sign in a year is worth: the risk of a dark sign that it takes away."""

from dataclasses import dataclass

import numpy as np

from inventory.engineering.programme.problem import NOT_PLANNED, FloatArray, WholeArray
from inventory.errors import OutOfRangeError

CLASSES = (1, 2, 3, 4)


@dataclass(frozen=True, slots=True)
class ClassWeights:
    """
    How much a sign of each safety class weighs when it is below its level.

    Parameters
    ----------
    by_class : tuple of float
        Of classes 1 to 4, over 0, none heavier than the one before it. Where an agency sets
        none, 10, 4, 2 and 1: an assumption (common practice, no source, ranks the classes and
        gives no figures).

    Raises
    ------
    OutOfRangeError
        If there are not four, one is not over 0, or a later class weighs more.

    Examples
    --------
    >>> ClassWeights().of(np.array([1, 4])).tolist()
    [10.0, 1.0]
    """

    by_class: tuple[float, ...] = (10.0, 4.0, 2.0, 1.0)

    def __post_init__(self) -> None:
        weights = np.array(self.by_class)
        if len(weights) != len(CLASSES) or not (weights > 0).all():
            msg = f"The weights are {self.by_class}; there are four, of classes 1 to 4, over 0."
            raise OutOfRangeError(msg)
        if (np.diff(weights) > 0).any():
            msg = (
                f"The weights are {self.by_class}; no class weighs more than the one before "
                "it, since Stop and Yield come first."
            )
            raise OutOfRangeError(msg)

    def of(self, safety_class: WholeArray) -> FloatArray:
        """Return the weight of each sign by its class, 1 to 4."""
        if len(safety_class) and not np.isin(safety_class, CLASSES).all():
            place = int(np.argmin(np.isin(safety_class, CLASSES)))
            msg = f"The safety class of sign {place} is {safety_class[place]}; it is 1 to 4."
            raise OutOfRangeError(msg)
        return np.asarray(np.array(self.by_class)[safety_class - 1])


@dataclass(frozen=True, slots=True, eq=False)
class YearlyRisk:
    """
    The probabilities that a face is below its level, by year end, from which risk is summed.

    Parameters
    ----------
    below : array of float, (n, years)
        Of the face that stands, at each year end, 0 to 1.
    below_if_new : array of float, (n, years)
        Of a new face, at the end of the year it is put up and of each later one.
    weight : array of float, (n,)
        By safety class.
    condition : array of float, (n,)
        Chance, 0 to 1, that the face fails for its damage at each year end while it stands.

    Raises
    ------
    OutOfRangeError
        If arrays differ in length or a probability is outside 0 to 1.
    """

    below: FloatArray
    below_if_new: FloatArray
    weight: FloatArray
    condition: FloatArray

    def __post_init__(self) -> None:
        shape = self.below.shape
        if len(shape) != 2 or self.below_if_new.shape != shape:
            msg = (
                f"The probabilities have shapes {shape} and {self.below_if_new.shape}; give a "
                "row per position and a column per year in both."
            )
            raise OutOfRangeError(msg)
        if len(self.weight) != shape[0] or len(self.condition) != shape[0]:
            msg = f"There are {shape[0]} positions; give a weight and a condition for each."
            raise OutOfRangeError(msg)
        for values in (self.below, self.below_if_new, self.condition):
            if not ((values >= 0) & (values <= 1)).all():
                msg = "A probability is outside 0 to 1 or not known; leave such a sign out."
                raise OutOfRangeError(msg)

    @property
    def standing(self) -> FloatArray:
        """Return the chance that the face that stands fails, by level or by damage."""
        return np.asarray(self.below + self.condition[:, None] * (1.0 - self.below))

    def at(self, year: WholeArray) -> FloatArray:
        """
        Return the chance of failing at each year end under a plan, (n, years).

        Examples
        --------
        >>> two = YearlyRisk(np.array([[0.2, 0.5]]), np.array([[0.0, 0.1]]), np.ones(1),
        ...                  np.zeros(1))
        >>> two.at(np.array([1])).tolist()
        [[0.2, 0.0]]
        """
        years = self.below.shape[1]
        age = np.arange(years) - year[:, None]
        is_new = (year[:, None] != NOT_PLANNED) & (age >= 0)
        new = np.take_along_axis(self.below_if_new, np.clip(age, 0, years - 1), axis=1)
        return np.where(is_new, new, self.standing)

    def left(self, year: WholeArray) -> float:
        """Return the risk a plan leaves: Σ over years of weight × chance of failing."""
        return float(self.weight @ self.at(year).sum(axis=1))

    def value(self) -> FloatArray:
        """
        Return the risk that replacing takes away, by year, (n, years).

        Examples
        --------
        >>> two = YearlyRisk(np.array([[0.2, 0.5]]), np.array([[0.0, 0.1]]), np.array([4.0]),
        ...                  np.zeros(1))
        >>> two.value().round(9).tolist()  # 4 (0.2 + 0.5 − 0 − 0.1); 4 (0.5 − 0)
        [[2.4, 2.0]]
        """
        standing, new = self.standing, self.below_if_new
        # From year t to the last: what would stand, less what a new face would be by then.
        avoided = np.cumsum(standing[:, ::-1], axis=1)[:, ::-1]
        lasting = np.cumsum(new, axis=1)[:, ::-1]
        return np.asarray(self.weight[:, None] * (avoided - lasting))
