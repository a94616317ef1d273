"""The base sheeting of a printed face, and whether the level tables allow a sheeting for it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from inventory.engineering.standards.bold_symbols import find_symbol_class
from inventory.engineering.standards.catalogue import SignType
from inventory.engineering.standards.levels import (
    MinimumLevel,
    minimum_levels,
    required_minimum,
)
from inventory.engineering.standards.placement import Placement, find_placement
from inventory.engineering.standards.sheeting import find_sheeting_type, sheeting_classes
from inventory.engineering.standards.special_cases import criterion_dimension_in
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    MountClass,
    Optics,
    weakest,
)
from inventory.errors import NoPublishedValueError, OutOfRangeError

_FLUORESCENT = "fluorescent-"


def is_fluorescent(color: Color) -> bool:
    """
    Return whether a colour is one of the fluorescent ones.

    Examples
    --------
    >>> is_fluorescent(Color.FLUORESCENT_YELLOW_GREEN), is_fluorescent(Color.YELLOW)
    (True, False)
    """
    return color.value.startswith(_FLUORESCENT)


def base_sheeting_color(background: Color, others: Iterable[Color]) -> Color:
    """
    Return the colour of the sheeting a face is printed on.

    A face is printed on white sheeting, unless its background is fluorescent: ink cannot make
    a fluorescent colour, so it needs sheeting of that colour.

    Parameters
    ----------
    background : Color
        The colour of the background.
    others : iterable of Color
        The colours of the legend and of anything else on the face.

    Raises
    ------
    OutOfRangeError
        If another colour of the face is fluorescent too: one sheeting cannot give both.

    References
    ----------
    .. [1] Common practice, no source.

    Examples
    --------
    >>> base_sheeting_color(Color.RED, [Color.WHITE]).value
    'white'
    >>> base_sheeting_color(Color.FLUORESCENT_YELLOW_GREEN, [Color.BLACK]).value
    'fluorescent-yellow-green'
    """
    base = background if is_fluorescent(background) else Color.WHITE
    for color in others:
        if is_fluorescent(color) and color is not base:
            msg = (
                f"The {color.words} of this face cannot be printed on {base.words} sheeting: a "
                "fluorescent colour needs sheeting of that colour (common practice, no "
                "source). Have the face made up of two sheetings."
            )
            raise OutOfRangeError(msg)
        if base is not Color.WHITE and color is Color.WHITE:
            msg = (
                f"White that returns light cannot be printed on {base.words} sheeting (common "
                "practice, no source). Have the face made up of two sheetings."
            )
            raise OutOfRangeError(msg)
    return base


def optics_of_type(sheeting_type: str) -> Optics:
    """
    Return the optics a sheeting type always has; unknown where it is made either way.

    Parameters
    ----------
    sheeting_type : str
        A type of ASTM D4956, I to XI.

    Raises
    ------
    OutOfRangeError
        If the text names none of the types I to XI.

    References
    ----------
    .. [1] Column heads of MUTCD 11th edition (2023) Table 2A-5; which types are prismatic is
       from memory, see ``standards/tables/sheeting_types.toml``.

    Examples
    --------
    >>> [optics_of_type(each).value for each in ("II", "III", "XI")]
    ['beaded', 'unknown', 'prismatic']
    """
    row = find_sheeting_type(sheeting_type)
    if row.prismatic_class is None:
        return Optics.BEADED
    return Optics.PRISMATIC if row.beaded_class is None else Optics.UNKNOWN


@dataclass(frozen=True, slots=True)
class Allowance:
    """That a sheeting may be used: the cells that say so, or the reason why there are none."""

    rows: tuple[MinimumLevel, ...]
    reason: str


def check_sheeting_allowed(
    *,
    editions: Sequence[Edition],
    sign_type: SignType | None,
    background: Color,
    legend: Color,
    mount: MountClass | None,
    sheeting_type: str,
    optics: Optics,
    width_in: float,
    height_in: float,
) -> Allowance:
    """
    Return on what grounds a sheeting may be used for a face; refuse one that may not.

    What is not known (the mount, the optics of Type III) is taken at its worst: a sheeting
    that is prohibited in any row that could hold is refused.

    Parameters
    ----------
    editions : sequence of Edition
        The editions the agency goes by; the first that has a row for the colours holds.
    sign_type : SignType or None
        The type of the sign, when it is known.
    background, legend : Color
        The colours of the face.
    mount : MountClass or None
        Post or overhead; ``None`` when it is not known.
    sheeting_type : str
        A type of ASTM D4956, I to XI.
    optics : Optics
        Beaded, prismatic, or unknown.
    width_in, height_in : float
        Size of the face, over zero. [in]

    Returns
    -------
    Allowance
        Without rows where no edition has one for the colours: nothing is prohibited there, and
        no level holds either.

    Raises
    ------
    NoPublishedValueError
        If the sheeting is prohibited for a colour of the face, or the tables know no such
        sheeting.
    OutOfRangeError
        If the type is none of I to XI, or no edition is named.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5; MUTCD 2009 Table 2A-3.

    Examples
    --------
    >>> allowed = check_sheeting_allowed(editions=[Edition.MUTCD_11], sign_type=None,
    ...     background=Color.RED, legend=Color.WHITE, mount=None, sheeting_type="XI",
    ...     optics=Optics.PRISMATIC, width_in=30, height_in=30)
    >>> [row.color.value for row in allowed.rows]
    ['white', 'red']
    """
    if not editions:
        msg = "No edition was named; an agency's rules say which one it goes by."
        raise OutOfRangeError(msg)
    classes = sheeting_classes(sheeting_type, optics)
    try:
        placement = find_placement(background, legend, sign_type)
    except NoPublishedValueError as error:
        return Allowance((), str(error))
    reason = ""
    for edition in editions:
        try:
            rows = minimum_levels(
                edition,
                placement,
                mount=mount,
                sheeting_classes=classes,
                symbol_class=find_symbol_class(edition, sign_type).symbol_class
                if sign_type
                else None,
                dimension_in=criterion_dimension_in(
                    edition, sign_type.shape if sign_type else None, width_in, height_in
                ),
            )
        except NoPublishedValueError as error:
            reason = str(error)
            continue
        _refuse_prohibited(rows, mount, optics)
        return Allowance(rows, _citation(placement, rows, edition))
    return Allowance((), reason)


def _refuse_prohibited(
    rows: Sequence[MinimumLevel], mount: MountClass | None, optics: Optics
) -> None:
    """Raise the table's own refusal for the first prohibited cell; say what is not known."""
    prohibited = next((row for row in rows if row.is_prohibited), None)
    if prohibited is None:
        return
    try:
        required_minimum(prohibited)
    except NoPublishedValueError as error:
        settled = [row for row in rows if row.color is prohibited.color]
        if all(row.is_prohibited for row in settled):
            raise
        unknown = []
        if mount is None and prohibited.mount is not None:
            unknown.append("how the sign is mounted")
        if optics is Optics.UNKNOWN:
            unknown.append("whether the sheeting is beaded or prismatic")
        if not unknown:
            raise
        msg = f"{error} Record {' and '.join(unknown)}, or choose another sheeting."
        raise NoPublishedValueError(msg) from error


def _citation(placement: Placement, rows: Sequence[MinimumLevel], edition: Edition) -> str:
    """Return the table that allows the sheeting, marked where it was not checked."""
    mark = weakest(placement.checked, *(row.checked for row in rows))
    unverified = "" if mark.is_verified else f" ({mark.words})"
    return f"Allowed for {placement.sign_colors.words} signs under {edition.words}{unverified}."
