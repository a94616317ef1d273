"""The readings of one cohort as arrays, and which readings may be fitted together."""

from collections import Counter
from dataclasses import dataclass, replace
from decimal import Decimal

import numpy as np
import numpy.typing as npt

from inventory.engineering.inspection.student import FloatArray, WholeArray
from inventory.engineering.inspection.usability import (
    reason_not_judged,
)
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.errors import OutOfRangeError

UNKNOWN = -1  # in a column of lots, sessions, quadrants or districts
MAXIMUM_AGE_YEARS = 100.0

TruthArray = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Observations:
    """
    What was read on the signs of one cohort: arrays per visit, and arrays per sign.

    Parameters
    ----------
    sign : array of int
        Whose each visit is: 0, 1, 2 …, ascending.
    age_years : array of float
        Age at the visit: years since the sign was put up, or, where that is not known, since
        its first reading. 0 to 100. [year]
    ra_cd_lx_m2 : array of float
        Mean R_A of the visit, over 0. [cd/lx/m²]
    reading_count : array of int
        How many readings the mean is of, 1 or more.
    repeatability_rel : array of float
        The instrument's stated repeatability, as a share of the reading, 0 to 0.5.
    session : array of int
        Number of the instrument and day, −1 where not known.
    lot : array of int
        Sheeting lot of each sign, −1 where not known; likewise ``ink_lot``, ``overlay_lot``
        and ``run`` (print run).
    is_age_known : array of bool
        Whether the day each sign was put up is known.
    quadrant, district : array of int
        Facing quadrant (0 to 3) and district of each sign, −1 where not known.

    Raises
    ------
    OutOfRangeError
        If a figure is outside these bounds, or arrays differ in length.

    Examples
    --------
    >>> one = Observations.plain([0, 0], [1.0, 4.0], [260.0, 235.0])
    >>> len(one), one.sign_count
    (2, 1)
    >>> Observations.plain([0], [1.0], [0.0])
    Traceback (most recent call last):
    ...
    inventory.errors.OutOfRangeError: The R_A of visit 0 is 0; it is over 0 to be fitted.
    """

    sign: WholeArray
    age_years: FloatArray
    ra_cd_lx_m2: FloatArray
    reading_count: WholeArray
    repeatability_rel: FloatArray
    session: WholeArray
    lot: WholeArray
    ink_lot: WholeArray
    overlay_lot: WholeArray
    run: WholeArray
    is_age_known: TruthArray
    quadrant: WholeArray
    district: WholeArray

    def __post_init__(self) -> None:
        visits, signs = len(self.sign), len(self.lot)
        for names, number in ((_OF_VISITS, visits), (_OF_SIGNS, signs)):
            for name in names:
                if len(getattr(self, name)) != number:
                    msg = f"{name} has {len(getattr(self, name))} entries for {number}."
                    raise OutOfRangeError(msg)
        if visits and (self.sign[0] < 0 or self.sign[-1] >= signs or _falls(self.sign)):
            msg = f"The visits are not in the order of their {signs} signs (0, 1, 2 …)."
            raise OutOfRangeError(msg)
        ages, ra, counts = self.age_years, self.ra_cd_lx_m2, self.reading_count
        share = self.repeatability_rel
        for name, values, is_right, bound in (
            ("age", ages, (ages >= 0) & (ages <= MAXIMUM_AGE_YEARS), "from 0 to 100 years"),
            ("R_A", ra, (ra > 0) & np.isfinite(ra), "over 0 to be fitted"),
            ("number of readings", counts, counts >= 1, "1 or more"),
            ("repeatability", share, (share >= 0) & (share <= 0.5), "a share from 0 to 0.5"),
        ):
            if not is_right.all():
                place = int(np.argmin(is_right))
                msg = f"The {name} of visit {place} is {values[place]:g}; it is {bound}."
                raise OutOfRangeError(msg)

    def __len__(self) -> int:
        return len(self.sign)

    @property
    def sign_count(self) -> int:
        """Return the number of signs."""
        return len(self.lot)

    @classmethod
    def plain(
        cls,
        sign: npt.ArrayLike,
        age_years: npt.ArrayLike,
        ra_cd_lx_m2: npt.ArrayLike,
        *,
        reading_count: npt.ArrayLike = 4,
        repeatability_rel: npt.ArrayLike = 0.0,
        session: npt.ArrayLike = UNKNOWN,
        lot: npt.ArrayLike = UNKNOWN,
        is_age_known: npt.ArrayLike = True,
        quadrant: npt.ArrayLike = UNKNOWN,
        district: npt.ArrayLike = UNKNOWN,
    ) -> "Observations":
        """Return observations of which only the given columns are known."""
        whose = np.asarray(sign, dtype=np.int64)
        signs = int(whose[-1]) + 1 if len(whose) else 0
        signs = max(signs, np.size(lot) if np.ndim(lot) else 0)

        def whole(values: npt.ArrayLike, number: int) -> WholeArray:
            return np.broadcast_to(np.asarray(values, dtype=np.int64), (number,))

        return cls(
            sign=whose,
            age_years=np.asarray(age_years, dtype=np.float64),
            ra_cd_lx_m2=np.asarray(ra_cd_lx_m2, dtype=np.float64),
            reading_count=whole(reading_count, len(whose)),
            repeatability_rel=np.broadcast_to(
                np.asarray(repeatability_rel, dtype=np.float64), (len(whose),)
            ),
            session=whole(session, len(whose)),
            lot=whole(lot, signs),
            ink_lot=whole(UNKNOWN, signs),
            overlay_lot=whole(UNKNOWN, signs),
            run=whole(UNKNOWN, signs),
            is_age_known=np.broadcast_to(np.asarray(is_age_known, dtype=np.bool_), (signs,)),
            quadrant=whole(quadrant, signs),
            district=whole(district, signs),
        )

    def of_signs(self, chosen: TruthArray) -> "Observations":
        """
        Return the observations of some of the signs, numbered anew in the same order.

        Examples
        --------
        >>> both = Observations.plain([0, 1, 1], [1.0, 1.0, 4.0], [260.0, 250.0, 235.0])
        >>> second = both.of_signs(np.array([False, True]))
        >>> second.sign.tolist(), second.ra_cd_lx_m2.tolist()
        ([0, 0], [250.0, 235.0])
        """
        number = np.cumsum(chosen) - 1
        kept = chosen[self.sign]
        visits = {name: getattr(self, name)[kept] for name in _OF_VISITS}
        visits["sign"] = number[visits["sign"]]
        return Observations(
            **visits, **{name: getattr(self, name)[chosen] for name in _OF_SIGNS}
        )

    def of_visits(self, kept: TruthArray) -> "Observations":
        """
        Return some of the visits, of the same signs: one may be left without any.

        Examples
        --------
        >>> both = Observations.plain([0, 1, 1], [1.0, 1.0, 4.0], [260.0, 250.0, 235.0])
        >>> first = both.of_visits(np.array([True, False, False]))
        >>> len(first), first.sign_count
        (1, 2)
        """
        return replace(self, **{name: getattr(self, name)[kept] for name in _OF_VISITS})


_OF_VISITS = (
    "sign",
    "age_years",
    "ra_cd_lx_m2",
    "reading_count",
    "repeatability_rel",
    "session",
)
_OF_SIGNS = (
    "lot",
    "ink_lot",
    "overlay_lot",
    "run",
    "is_age_known",
    "quadrant",
    "district",
)


@dataclass(frozen=True, slots=True)
class Selection:
    """Which visits may be fitted together, and how many were left out for each reason."""

    is_selected: TruthArray
    left_out: dict[str, int]


def select_visits(
    how: list[How],
    surface_state: list[SurfaceState],
    observation_angle_deg: list[Decimal],
    entrance_angle_deg: list[Decimal],
    ra_cd_lx_m2: FloatArray,
    *,
    method: How,
) -> Selection:
    """
    Return which visits may be fitted together: one method, the geometry and state of judging.

    Hand-held and mobile readings are never put together, readings at another geometry than the
    levels' and readings of a damp face never used.

    Parameters
    ----------
    how, surface_state, observation_angle_deg, entrance_angle_deg : list
        Of each visit.
    ra_cd_lx_m2 : array of float
        Mean R_A of each visit. A face that returns nothing is damage, not decline: 0 is left
        out. [cd/lx/m²]
    method : How
        ``hand_held`` or ``mobile``.

    Raises
    ------
    OutOfRangeError
        If the method is none with an instrument.

    References
    ----------
    .. [1] Mobile against hand-held readings of the same signs, Bologna: mean bias
       +24.79 cd/lx/m² (as read in an abstract).
    .. [2] MUTCD 11th edition (2023) Table 2A-5, note 1: 0.2° and −4.0°.

    Examples
    --------
    >>> chosen = select_visits(
    ...     [How.HAND_HELD, How.MOBILE], [SurfaceState.DRY] * 2, [Decimal("0.2")] * 2,
    ...     [Decimal("-4.0")] * 2, np.array([250.0, 275.0]), method=How.HAND_HELD,
    ... )
    >>> chosen.is_selected.tolist()
    [True, False]
    >>> list(chosen.left_out)
    ['mobile, from a moving vehicle: never put together with hand-held readings (mobile readings
    of the same signs were 24.79 cd/lx/m² higher on average in one published comparison)']
    """
    if not method.is_instrument:
        msg = f"Signs {method.words} have no R_A; choose hand-held or mobile readings."
        raise OutOfRangeError(msg)
    reasons: Counter[str] = Counter()
    is_selected = np.zeros(len(how), dtype=np.bool_)
    for place, made in enumerate(how):
        reason = reason_not_judged(
            how=made,
            surface_state=surface_state[place],
            observation_angle_deg=observation_angle_deg[place],
            entrance_angle_deg=entrance_angle_deg[place],
        )
        if not reason and made is not method:
            reason = (
                f"{made.words}: never put together with {method.words} readings (mobile "
                "readings of the same signs were 24.79 cd/lx/m² higher on average in one "
                "published comparison)"
            )
        if not reason and not ra_cd_lx_m2[place] > 0:
            reason = "a reading of 0 is damage or a slip, not decline with age"
        if reason:
            reasons[reason] += 1
        is_selected[place] = not reason
    return Selection(is_selected, dict(reasons))


def _falls(values: WholeArray) -> bool:
    return bool((values[1:] < values[:-1]).any())
