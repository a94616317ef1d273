"""What the material of a job costs: sheeting with its waste, overlay film and blanks."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from typing import TYPE_CHECKING

from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

_CENT = Decimal("0.01")
_IN2_PER_FT2 = Decimal(144)


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """
    What a shop pays, as it entered it; what is not entered has no key, or none.

    ``sheeting`` goes by type and colour, an empty colour standing for every other one;
    ``blank_ft2`` by thickness; ``blank_each`` by thickness, short and long side.
    """

    sheeting: Mapping[tuple[str, str], Decimal] = field(default_factory=dict)
    overlay_ft2: Decimal | None = None
    blank_ft2: Mapping[Decimal, Decimal] = field(default_factory=dict)
    blank_each: Mapping[tuple[Decimal, Decimal, Decimal], Decimal] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetingTaken:
    """What leaves rolls of one sheeting, in ft², and what of it is no face."""

    sheeting_type: str
    color: str
    taken_ft2: Decimal
    waste_ft2: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankAsked:
    """A rectangle of metal under a face, in inches."""

    width_in: Decimal
    height_in: Decimal
    count: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class ThicknessStep:
    """The thickness up to a longest side; ``up_to_in`` is none for all longer ones."""

    up_to_in: Decimal | None
    thickness_in: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetingCost:
    """Sheeting with its cost, and of both the waste; no price: no money."""

    taken: SheetingTaken
    price: Decimal | None
    money: Decimal | None
    waste_money: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class OverlayCost:
    """Overlay film with its cost."""

    area_ft2: Decimal
    price: Decimal | None
    money: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BlankCost:
    """
    Blanks of one size with their cost; ``thickness_in`` is none where no rule tells it.

    ``is_each``: the price is that of a blank, not of a ft².
    """

    thickness_in: Decimal | None
    short_in: Decimal
    long_in: Decimal
    count: int
    area_ft2: Decimal
    is_each: bool
    price: Decimal | None
    money: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialCosts:
    """
    What the material costs; ``overlay`` is none where no film is known to be on the press.

    ``total`` is the sum of what is known, and ``is_at_least`` where something is not.
    """

    sheeting: tuple[SheetingCost, ...]
    overlay: OverlayCost | None
    blanks: tuple[BlankCost, ...]

    @property
    def total(self) -> Decimal:
        """Return the sum of what is known."""
        known = [each for each in self._money() if each is not None]
        return sum(known, Decimal("0.00"))

    @property
    def is_at_least(self) -> bool:
        """Return whether something is not in the sum."""
        return self.overlay is None or None in self._money()

    @property
    def is_any_known(self) -> bool:
        """Return whether anything is in the sum."""
        return any(each is not None for each in self._money())

    @property
    def thicknesses(self) -> tuple[tuple[Decimal | None, int, Decimal], ...]:
        """Return each thickness with how many blanks and ft² of it are needed."""
        found: dict[Decimal | None, tuple[int, Decimal]] = {}
        for each in self.blanks:
            count, area = found.get(each.thickness_in, (0, Decimal(0)))
            found[each.thickness_in] = count + each.count, area + each.area_ft2
        return tuple((thickness, *rest) for thickness, rest in found.items())

    def _money(self) -> list[Decimal | None]:
        money = [each.money for each in self.sheeting]
        money.extend(each.money for each in self.blanks)
        if self.overlay is not None:
            money.append(self.overlay.money)
        return money


def thickness_for(longest_in: Decimal, steps: Iterable[ThicknessStep]) -> Decimal | None:
    """
    Return the thickness of a blank by its longest side; none where no step holds.

    Parameters
    ----------
    longest_in : Decimal
        Over zero; a side equal to a step's upper size is within it. [in]
    steps : iterable of ThicknessStep
        In any order.

    Raises
    ------
    OutOfRangeError
        If the side is not over zero.

    References
    ----------
    .. [1] Iowa DOT Standard Specification 4186.02 (2009) has two such steps.

    Examples
    --------
    >>> steps = (ThicknessStep(up_to_in=Decimal(36), thickness_in=Decimal("0.080")),
    ...     ThicknessStep(up_to_in=None, thickness_in=Decimal("0.125")))
    >>> str(thickness_for(Decimal(36), steps)), str(thickness_for(Decimal("36.1"), steps))
    ('0.080', '0.125')
    """
    if not (longest_in.is_finite() and longest_in > 0):
        msg = f"A longest side of {longest_in} in is out of range; it is over 0."
        raise OutOfRangeError(msg)
    held = list(steps)
    bounded = sorted(
        (each.up_to_in, each.thickness_in) for each in held if each.up_to_in is not None
    )
    for up_to_in, thickness_in in bounded:
        if longest_in <= up_to_in:
            return thickness_in
    return next((each.thickness_in for each in held if each.up_to_in is None), None)


def material_costs(
    sheeting: Iterable[SheetingTaken],
    *,
    overlay_ft2: Decimal | None,
    blanks: Iterable[BlankAsked],
    steps: Sequence[ThicknessStep],
    prices: Prices,
) -> MaterialCosts:
    """
    Return what the material of a job costs by a shop's own prices, in decimals.

    Parameters
    ----------
    sheeting : iterable of SheetingTaken
        The whole length that leaves the rolls, waste and all.
    overlay_ft2 : Decimal or None
        Film that leaves its roll; none: no film is known to be on the press. [ft²]
    blanks : iterable of BlankAsked
        One for each rectangle of metal.
    steps : sequence of ThicknessStep
        The shop's rule for the thickness; empty: it has none.
    prices : Prices
        As entered.

    Returns
    -------
    MaterialCosts
        Each line is rounded to the hundredth, halves up; the sum is that of the lines.

    Raises
    ------
    OutOfRangeError
        If an area is negative, waste is more than what is taken, or a size is not over zero.

    References
    ----------
    .. [1] Common practice, no source: area times price; a blank with a price of its own size
       costs that, else its rectangle at the price of its thickness.

    Examples
    --------
    >>> white = SheetingTaken(sheeting_type="XI", color="white",
    ...     taken_ft2=Decimal(30), waste_ft2=Decimal(6))
    >>> told = material_costs([white], overlay_ft2=Decimal(30), blanks=[], steps=[],
    ...     prices=Prices(sheeting={("XI", ""): Decimal("4.25")}))
    >>> str(told.sheeting[0].money), str(told.sheeting[0].waste_money), told.overlay.money
    ('127.50', '25.50', None)
    >>> str(told.total), told.is_at_least
    ('127.50', True)
    """
    taken = tuple(_sheeting(each, prices) for each in sheeting)
    overlay = None
    if overlay_ft2 is not None:
        _check(overlay_ft2, "overlay film")
        overlay = OverlayCost(
            area_ft2=overlay_ft2,
            price=prices.overlay_ft2,
            money=_money(overlay_ft2, prices.overlay_ft2),
        )
    counts: dict[tuple[Decimal, Decimal], int] = defaultdict(int)
    for asked in blanks:
        low, high = sorted((asked.width_in, asked.height_in))
        if not (low.is_finite() and high.is_finite() and low > 0 and asked.count > 0):
            msg = f"{asked.count} blanks of {low} × {high} in are out of range; over 0 each."
            raise OutOfRangeError(msg)
        counts[low, high] += asked.count
    found = [_blank(low, high, n, steps, prices) for (low, high), n in counts.items()]
    found.sort(key=lambda each: (each.thickness_in or Decimal(0), each.long_in, each.short_in))
    return MaterialCosts(sheeting=taken, overlay=overlay, blanks=tuple(found))


def _sheeting(taken: SheetingTaken, prices: Prices) -> SheetingCost:
    _check(taken.taken_ft2, "sheeting")
    _check(taken.waste_ft2, "waste")
    if taken.waste_ft2 > taken.taken_ft2:
        msg = (
            f"A waste of {taken.waste_ft2} ft² is out of range; no more than the "
            f"{taken.taken_ft2} ft² that leave the roll."
        )
        raise OutOfRangeError(msg)
    price = prices.sheeting.get((taken.sheeting_type, taken.color))
    if price is None:
        price = prices.sheeting.get((taken.sheeting_type, ""))
    return SheetingCost(
        taken=taken,
        price=price,
        money=_money(taken.taken_ft2, price),
        waste_money=_money(taken.waste_ft2, price),
    )


def _blank(
    short_in: Decimal,
    long_in: Decimal,
    count: int,
    steps: Sequence[ThicknessStep],
    prices: Prices,
) -> BlankCost:
    thickness = thickness_for(long_in, steps)
    area = short_in * long_in * count / _IN2_PER_FT2
    each, by_area = None, None
    if thickness is not None:
        each = prices.blank_each.get((thickness, short_in, long_in))
        by_area = prices.blank_ft2.get(thickness)
    return BlankCost(
        thickness_in=thickness,
        short_in=short_in,
        long_in=long_in,
        count=count,
        area_ft2=area,
        is_each=each is not None,
        price=by_area if each is None else each,
        money=_money(area, by_area) if each is None else _money(Decimal(count), each),
    )


def _money(amount: Decimal, price: Decimal | None) -> Decimal | None:
    return None if price is None else (amount * price).quantize(_CENT, ROUND_HALF_UP)


def _check(area_ft2: Decimal, what: str) -> None:
    if not (area_ft2.is_finite() and area_ft2 >= 0):
        msg = f"An area of {area_ft2} ft² of {what} is out of range; it is 0 or more."
        raise OutOfRangeError(msg)
