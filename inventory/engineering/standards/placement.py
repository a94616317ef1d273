"""Which row of the level tables a face falls under, by its colours."""

from dataclasses import dataclass
from functools import cache

from inventory.engineering.standards.catalogue import RetroRow, SignType
from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import Checked, Color, SignColors, SymbolClass
from inventory.errors import NoPublishedValueError

_CATALOGUE_BASIS = "placed by inference in the sign catalogue; not read in a source"


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement(PublishedRow):
    """The colour pair of the level tables that a face is judged under, and why."""

    sign_colors: SignColors


@dataclass(frozen=True, slots=True, kw_only=True)
class ColorPairRow(PublishedRow):
    """One colour pair: the row it falls under, or the reason why there is none."""

    background: Color
    legend: Color | None
    sign_colors: SignColors | None
    reason: str


@cache
def color_pair_rows() -> tuple[ColorPairRow, ...]:
    """Return every colour pair the project knows of, with its row or the reason for none."""
    return tuple(
        ColorPairRow(
            **row.published(),
            background=Color(row.text("background")),
            legend=Color(row.text("legend")) if "legend" in row.cells else None,
            sign_colors=SignColors(row.text("sign_colors"))
            if "sign_colors" in row.cells
            else None,
            reason=row.optional_text("reason"),
        )
        for row in read_table("color_placements.toml").rows
    )


def find_placement(
    background: Color | None, legend: Color | None, sign_type: SignType | None = None
) -> Placement:
    """
    Return the row of the level tables that a face falls under.

    A catalogued sign in its catalogued colours goes where the catalogue files it; any other
    face goes by its own colours.

    Parameters
    ----------
    background, legend : Color or None
        The face's own colours; ``None`` takes the sign type's.
    sign_type : SignType, optional
        The type of the sign, when it is known.

    Returns
    -------
    Placement
        With its own mark: a fluorescent yellow face under the yellow row is from memory, a
        white legend on black under the black-on-white row is an inference.

    Raises
    ------
    NoPublishedValueError
        If a colour is not known, or the tables have no row for the pair.

    References
    ----------
    .. [1] MUTCD 11th edition (2023) Table 2A-5, sign colour column.

    Examples
    --------
    >>> find_placement(Color.GREEN, Color.WHITE).sign_colors.value
    'white-on-green'
    >>> find_placement(Color.FLUORESCENT_YELLOW, Color.BLACK).checked.value
    'no'
    """
    if sign_type is not None:
        background = background or sign_type.background
        legend = legend or sign_type.legend
    if background is None or legend is None:
        raise NoPublishedValueError(_unknown_colors_message(background, legend, sign_type))
    if sign_type is not None:
        filed = _catalogued_placement(background, legend, sign_type)
        if filed is not None:
            return filed
    row = _pair_row(background, legend)
    if row is None or row.sign_colors is None:
        raise NoPublishedValueError(_no_row_message(background, legend, sign_type))
    return _placement(row, row.sign_colors)


def _catalogued_placement(
    background: Color, legend: Color, sign_type: SignType
) -> Placement | None:
    """Return where the catalogue files a type in these colours; ``None`` leaves it to them."""
    own_colors = (sign_type.background, sign_type.legend) == (background, legend)
    if sign_type.retro_row is RetroRow.NO_ROW and (
        own_colors or sign_type.symbol_class is SymbolClass.NONE
    ):
        raise NoPublishedValueError(_no_row_message(background, legend, sign_type))
    if sign_type.retro_row is None or not own_colors:
        return None
    row = _pair_row(background, legend)
    if row is not None and row.sign_colors is not None:
        return _placement(row, row.sign_colors)
    return Placement(
        table_id=sign_type.table_id,
        row_id=sign_type.row_id,
        checked=Checked.NO,
        source=sign_type.source,
        verification=_CATALOGUE_BASIS,
        sign_colors=SignColors(sign_type.retro_row.value),
    )


def _pair_row(background: Color, legend: Color) -> ColorPairRow | None:
    for row in color_pair_rows():
        if row.background is background and row.legend in (legend, None):
            return row
    return None


def _placement(row: ColorPairRow, sign_colors: SignColors) -> Placement:
    return Placement(
        table_id=row.table_id,
        row_id=row.row_id,
        checked=row.checked,
        source=row.source,
        verification=row.verification,
        sign_colors=sign_colors,
    )


def _unknown_colors_message(
    background: Color | None, legend: Color | None, sign_type: SignType | None
) -> str:
    missing = " and ".join(
        name
        for name, color in (("background", background), ("legend", legend))
        if color is None
    )
    of_type = f" and the catalogue gives none for {sign_type.code}" if sign_type else ""
    return (
        f"The {missing} colour of this face is not recorded{of_type}; the level tables go by "
        "colour. Record the colours of the face."
    )


def _no_row_message(background: Color, legend: Color, sign_type: SignType | None) -> str:
    row = _pair_row(background, legend)
    code = f"{sign_type.code}: " if sign_type else ""
    if row is not None and row.reason:
        return f"{code}No level is published: {row.reason}."
    if sign_type is not None and sign_type.symbol_class is SymbolClass.NONE:
        return f"{code}No level is published: the tables have no row for object markers."
    return (
        f"{code}No level is published: the tables have no row for {legend.words} on "
        f"{background.words}."
    )
