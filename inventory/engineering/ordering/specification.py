"""The size and the colours of the face a position asks for, each with what it rests on."""

from dataclasses import dataclass

from inventory.engineering.standards.catalogue import FaceSize, SignType, standard_size
from inventory.engineering.standards.vocabulary import Checked, Color, RoadClass
from inventory.errors import NoPublishedValueError

_ORANGES = (Color.ORANGE, Color.FLUORESCENT_ORANGE)


@dataclass(frozen=True, slots=True)
class WantedSize:
    """The size of a face; ``basis`` says where it comes from, ``checked`` how sure that is."""

    width_in: float
    height_in: float
    basis: str
    checked: Checked


def wanted_size(
    own_width_in: float | None,
    own_height_in: float | None,
    sign_type: SignType,
    road_class: RoadClass | None,
) -> WantedSize:
    """
    Return the size of the face a position asks for.

    Parameters
    ----------
    own_width_in, own_height_in : float or None
        The position's own size; it comes first when both are known. [in]
    sign_type : SignType
        The type the position asks for; its printed size comes next.
    road_class : RoadClass or None
        The road the position is on; ``None`` when it is not known, which is enough only where
        one size is printed for every class of road.

    Returns
    -------
    WantedSize
        With a basis such as ``"standard size on an expressway, table 2B-1"``. [in]

    Raises
    ------
    NoPublishedValueError
        If no size is known: none is printed, it varies with the legend, or it depends on a road
        class that is not known.

    References
    ----------
    .. [1] MUTCD 11th edition (2023), the size table named in the basis.

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> curve = find_sign_type("W1-2")[0]
    >>> size = wanted_size(None, None, curve, RoadClass.CONVENTIONAL_MULTI_LANE)
    >>> size.width_in, size.basis
    (36.0, 'standard size on a conventional multi-lane road, table 2C-1')
    """
    if own_width_in is not None and own_height_in is not None:
        return WantedSize(own_width_in, own_height_in, "the position's own size", Checked.YES)
    if road_class is None:
        return _size_on_any_road(sign_type)
    size = standard_size(sign_type, road_class)
    return _complete(sign_type, size, f"standard size on {road_class.words}")


def _size_on_any_road(sign_type: SignType) -> WantedSize:
    """Return the size printed for every class of road; refuse if they differ."""
    printed = {}
    for road_class in RoadClass:
        try:
            printed[road_class] = standard_size(sign_type, road_class)
        except NoPublishedValueError:
            continue  # the tables print none for that road
    sizes = set(printed.values())
    if not sizes:
        standard_size(sign_type, RoadClass.CONVENTIONAL_SINGLE_LANE)  # raises with the reason
    if len(sizes) > 1:
        choices = "; ".join(
            f"{_words(size)} on {road_class.words}" for road_class, size in printed.items()
        )
        msg = (
            f"The size of {sign_type.code} depends on the road ({choices}), and the class of "
            "this road is not known; set the road's class or the position's own size."
        )
        raise NoPublishedValueError(msg)
    return _complete(sign_type, sizes.pop(), "standard size on every class of road")


def _complete(sign_type: SignType, size: FaceSize, where: str) -> WantedSize:
    if size.width_in is None or size.height_in is None:
        msg = (
            f"The size of {sign_type.code} varies with its legend (printed: "
            f"{sign_type.size_text or _words(size)}); set the position's own size."
        )
        raise NoPublishedValueError(msg)
    table = (
        f"table {sign_type.mutcd_table}" if sign_type.mutcd_table else "the agency's own type"
    )
    if not sign_type.checked.is_verified:
        table += f" ({sign_type.checked.words})"
    return WantedSize(
        float(size.width_in), float(size.height_in), f"{where}, {table}", sign_type.checked
    )


def _words(size: FaceSize) -> str:
    width, height = (
        "varies" if each is None else f"{each:f}" for each in (size.width_in, size.height_in)
    )
    return f"{width} × {height} in"


@dataclass(frozen=True, slots=True)
class WantedColors:
    """The colours of a face; ``note`` is a sentence where the old face differs, else empty."""

    background: Color
    legend: Color
    secondary: tuple[Color, ...]
    note: str


def wanted_colors(
    sign_type: SignType, old_background: Color | None, old_legend: Color | None
) -> WantedColors:
    """
    Return the colours of the face a position asks for.

    The sign type's colours hold. The old face's background is kept where the type leaves the
    choice: its fluorescent form, the alternative the catalogue names, or a plaque that matches
    its sign. Where the type has no colour, the old face's is taken.

    Parameters
    ----------
    sign_type : SignType
        The type the position asks for.
    old_background, old_legend : Color or None
        The colours of the face that stands there; ``None`` when they are not known.

    Raises
    ------
    NoPublishedValueError
        If neither the type nor the old face gives a colour.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-2 and the figures named in the catalogue.

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> walkers = find_sign_type("W11-2")[0]
    >>> wanted_colors(walkers, Color.FLUORESCENT_YELLOW_GREEN, Color.BLACK).background.value
    'fluorescent-yellow-green'
    >>> wanted_colors(walkers, None, None).background.value
    'yellow'
    """
    legend = sign_type.legend or old_legend
    background = sign_type.background or old_background
    if background is None or legend is None:
        missing = "background" if background is None else "legend"
        msg = (
            f"The {missing} colour of {sign_type.code} is not known: "
            f"{_why_no_color(sign_type)}, and the old face's colours are not recorded. Record "
            "them, or add the sign as a type of the agency's own."
        )
        raise NoPublishedValueError(msg)
    note = ""
    if old_background is not None and old_background is not background:
        if _is_alternative(sign_type, old_background):
            background = old_background
        else:
            note = (
                f"The old face is recorded as {old_background.words}; {sign_type.code} is "
                f"{background.words} by the catalogue, and {background.words} is ordered."
            )
    return WantedColors(background, legend, sign_type.secondary, note)


def _why_no_color(sign_type: SignType) -> str:
    if sign_type.is_local:
        return "the agency's own type leaves it open"
    return "no source gives it"


def _is_alternative(sign_type: SignType, color: Color) -> bool:
    """Return whether a background may stand in for the one the catalogue gives a type."""
    alternatives = sign_type.alt_background
    return (
        (sign_type.background is not None and color == f"fluorescent-{sign_type.background}")
        or alternatives == color
        or "match" in alternatives
        or ("orange in work zones" in alternatives and color in _ORANGES)
    )
