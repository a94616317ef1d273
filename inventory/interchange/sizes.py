"""Sign sizes from the texts of a list, such as ``12" X 18"``."""

import re
from dataclasses import dataclass
from enum import StrEnum

from inventory import units
from inventory.errors import OutOfRangeError

# A sign wider than a road is a slip of the pen, not a sign.
MAXIMUM_DIMENSION_IN = 1200.0
SIDES = 2
TRIANGLE_SIDES = 3

INCHES_PER_UNIT = {
    "in": 1.0,
    "ft": units.INCHES_PER_FOOT,
    "mm": 1.0 / units.MILLIMETRES_PER_INCH,
    "cm": 10.0 / units.MILLIMETRES_PER_INCH,
    "m": 1000.0 / units.MILLIMETRES_PER_INCH,
}
_SPELLINGS = {
    "in": ("in.", "inches", "inch", "in", '"'),
    "ft": ("ft.", "feet", "foot", "ft", "'"),
    "mm": ("mm",),
    "cm": ("cm",),
    "m": ("m",),
}
_UNIT_OF = {spelling: unit for unit, names in _SPELLINGS.items() for spelling in names}
_NUMBER = r"(?:\d+[ -]\d+/\d+|\d+/\d+|\d+(?:\.\d+)?|\.\d+)"
_UNIT = "|".join(
    re.escape(name) for name in sorted(_UNIT_OF, key=lambda name: (-len(name), name))
)
_AXIS = r"\(?(?:width|wide|height|high|tall|w|h)\)?"
_FEET = re.compile(
    rf"(?P<feet>\d+) ?(?:'|ft\.?|feet|foot) ?-? ?"
    rf'(?P<inches>{_NUMBER}) ?(?:"|inches|inch|in\.?)'
)
_PLAIN = re.compile(rf"(?P<number>{_NUMBER})(?: ?-? ?(?P<unit>{_UNIT}))?")
_SIDE = re.compile(
    rf"(?:(?P<before>{_AXIS}) ?[:=]? ?)?(?P<dimension>[\d.].*?)(?: ?(?P<after>{_AXIS}))?"
)
_CROSS = re.compile(r" ?(?:x|×|\*|by) ?")
_BETWEEN_FACES = re.compile(r" ?(?:/|&|\+|;|and) ?")
_BETWEEN_BUT_FRACTIONS = re.compile(r" ?(?:(?<!\d)/|/(?!\d)|&|\+|;|and) ?")
_QUOTES = str.maketrans({"”": '"', "“": '"', "″": '"', "’": "'", "\u2018": "'", "′": "'"})


FaceSize = tuple[float | None, float | None]


class SizeOrder(StrEnum):
    """Which dimension a list names first; naming the width first is the trade's habit."""

    WIDTH_FIRST = "width height"
    HEIGHT_FIRST = "height width"


def read_length_in(text: str, unit: str) -> float:
    """
    Return a length in inches.

    Parameters
    ----------
    text : str
        A number, fractions and feet with inches included; a unit in the text comes first.
    unit : str
        The unit of a number that carries none: ``"in"``, ``"ft"``, ``"mm"``, ``"cm"``, ``"m"``.

    Raises
    ------
    OutOfRangeError
        If the text is not a length, or one above 1200 in.

    Examples
    --------
    >>> read_length_in("7 1/2", "in")
    7.5
    >>> read_length_in("2 ft 6 in", "in")
    30.0
    >>> round(read_length_in("750", "mm"), 3)
    29.528
    """
    value, own_unit = _dimension(_plain(text), text)
    length_in = _rounded(value * INCHES_PER_UNIT[own_unit or unit])
    _check_length(length_in, text)
    return length_in


def is_one_length(text: str) -> bool:
    """
    Return whether a text is a single length, not a size.

    Examples
    --------
    >>> is_one_length("30 in"), is_one_length("30 x 30")
    (True, False)
    """
    plain = _plain(text)
    return bool(_PLAIN.fullmatch(plain) or _FEET.fullmatch(plain))


def read_sizes_in(
    text: str, unit: str, order: SizeOrder = SizeOrder.WIDTH_FIRST
) -> list[FaceSize]:
    """
    Return width and height of each face a size text names, in inches.

    Two sizes with a stroke between them are two faces. A zero is what lists write for a side
    that is not known, and is ``None``.

    Parameters
    ----------
    text : str
        For example ``'12" X 18"'``, ``"30x30"``, ``"750 x 900 mm"`` or
        ``'6" X 30"/ 6" X 30"'``.
    unit : str
        The unit of numbers that carry none.
    order : SizeOrder, optional
        Which dimension comes first, where the text does not say so itself (``18W x 24H``).

    Raises
    ------
    OutOfRangeError
        If the text is not a size; a single number is not.

    Examples
    --------
    >>> read_sizes_in('12" X 18"', "in")
    [(12.0, 18.0)]
    >>> read_sizes_in('6" X 30"/ 6" X 30"', "in", SizeOrder.HEIGHT_FIRST)
    [(30.0, 6.0), (30.0, 6.0)]
    """
    plain = _plain(text)
    # A stroke may part two faces or be inside a fraction, as in 7 1/2" x 10".
    ways = ([plain], _BETWEEN_BUT_FRACTIONS.split(plain), _BETWEEN_FACES.split(plain))
    parts = next((each for each in ways if _are_pairs(each)), [plain])
    return [_one_size(part, text, unit, order) for part in parts]


def _are_pairs(parts: list[str]) -> bool:
    return all(len(_CROSS.split(part)) == SIDES for part in parts)


def _plain(text: str) -> str:
    return " ".join(text.translate(_QUOTES).replace("''", '"').lower().split())


def _one_size(part: str, text: str, unit: str, order: SizeOrder) -> FaceSize:
    sides = [_side(side, text) for side in _CROSS.split(part)]
    if len(sides) == TRIANGLE_SIDES and len(set(sides)) == 1:
        # The manual prints a triangle by its three sides, "36 x 36 x 36" (MUTCD Table 2B-1).
        sides.pop()
    if len(sides) != SIDES:
        msg = f"'{text}' is not a size; write width and height with an x between: 30 x 36."
        raise OutOfRangeError(msg)
    first, second = _in_inches(sides[0], sides[1], unit, text)
    for value in (first, second):
        _check_length(value, text)
    axes = {sides[0].axis + "1", sides[1].axis + "2"}
    if {"w1", "w2"} == axes or {"h1", "h2"} == axes:
        msg = f"'{text}' names the same side twice; it is not a size."
        raise OutOfRangeError(msg)
    if axes & {"w1", "h2"}:
        order = SizeOrder.WIDTH_FIRST
    elif axes & {"h1", "w2"}:
        order = SizeOrder.HEIGHT_FIRST
    width, height = (first, second) if order is SizeOrder.WIDTH_FIRST else (second, first)
    return width or None, height or None


def _check_length(length_in: float, text: str) -> None:
    if length_in > MAXIMUM_DIMENSION_IN:
        msg = (
            f"'{text}' holds a dimension of {length_in:g} in; a sign's dimension is at most "
            f"{MAXIMUM_DIMENSION_IN:g} in."
        )
        raise OutOfRangeError(msg)


@dataclass(frozen=True, slots=True)
class _Side:
    """A dimension as written: its number, its own unit or blank, and w, h or blank."""

    value: float
    unit: str
    axis: str


def _side(part: str, text: str) -> _Side:
    match = _SIDE.fullmatch(part.strip())
    if match is None:
        msg = f"'{text}' is not a size; write width and height with an x between: 30 x 36."
        raise OutOfRangeError(msg)
    axis = (match["before"] or match["after"] or "").strip("()")
    value, unit = _dimension(match["dimension"], text)
    return _Side(value, unit, "" if not axis else "w" if axis.startswith("w") else "h")


def _dimension(plain: str, text: str) -> tuple[float, str]:
    """Return a number and its own unit, blank where it has none."""
    compound = _FEET.fullmatch(plain)
    if compound is not None:
        inches = _number(compound["inches"], text)
        return float(compound["feet"]) * units.INCHES_PER_FOOT + inches, "in"
    match = _PLAIN.fullmatch(plain)
    if match is None:
        msg = f"'{text}' is not a length or a size."
        raise OutOfRangeError(msg)
    return _number(match["number"], text), _UNIT_OF.get(match["unit"] or "", "")


def _number(token: str, text: str) -> float:
    whole, _, fraction = token.replace("-", " ").rpartition(" ")
    above, stroke, below = fraction.partition("/")
    if not stroke:
        return float(above)
    if float(below) == 0.0:
        msg = f"'{text}' divides by zero; it is not a size."
        raise OutOfRangeError(msg)
    return float(whole or 0) + float(above) / float(below)


def _in_inches(first: _Side, second: _Side, unit: str, text: str) -> tuple[float, float]:
    """Return both dimensions; a unit written once counts for both sides."""
    if first.unit in ("ft", "m") and not second.unit:
        msg = f"'{text}' gives a unit for its first side only; it could be read two ways."
        raise OutOfRangeError(msg)
    first_unit = first.unit or second.unit or unit
    second_unit = second.unit or first.unit or unit
    return (
        _rounded(first.value * INCHES_PER_UNIT[first_unit]),
        _rounded(second.value * INCHES_PER_UNIT[second_unit]),
    )


def _rounded(length_in: float) -> float:
    # A ten-thousandth of an inch, so that 762 mm is 30 in and stays so on every machine.
    return round(length_in, 4)
