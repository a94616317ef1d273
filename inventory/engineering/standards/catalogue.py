"""
Sign types by code: names, colours, symbol class and standard sizes.

Codes are matched whatever their case and blanks. A trailing L or R that belongs to no
catalogued code is the left or right variant of the code before it.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache

from inventory.engineering.standards.tables import PublishedRow, TableRow, read_table
from inventory.engineering.standards.vocabulary import (
    Color,
    ExclusionKey,
    RoadClass,
    Series,
    Shape,
    SymbolClass,
)
from inventory.errors import NoPublishedValueError

LOCAL_TABLE_ID = "local"

_DASHES = re.compile("[‐‑‒–—−_]")  # noqa: RUF001 - the dashes people paste
_VARIANT = re.compile(r"(?P<base>.+?)[-/.]?\(?(?P<side>[lr])\)?")


class RetroRow(StrEnum):
    """The row of the level tables the catalogue files a sign type under."""

    WHITE_ON_GREEN = "white-on-green"
    WHITE_ON_BLUE = "white-on-blue"
    WHITE_ON_BROWN = "white-on-brown"
    WHITE_ON_RED = "white-on-red"
    BLACK_ON_WHITE = "black-on-white"
    BLACK_ON_YELLOW_OR_ORANGE = "black-on-yellow-or-orange"
    NO_ROW = "no-row"


@dataclass(frozen=True, slots=True)
class FaceSize:
    """
    A printed sign size in inches; the width is ``None`` where it varies with the legend.

    A triangle or pennant holds side lengths, a circle its diameter twice.
    """

    width_in: Decimal | None
    height_in: Decimal | None

    @property
    def is_complete(self) -> bool:
        """Return whether both dimensions are printed."""
        return self.width_in is not None and self.height_in is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class SignType(PublishedRow):
    """
    One sign type of the catalogue, or an agency's own.

    ``background`` and ``legend`` are ``None`` where no source gave them. Sizes are ``None``
    where the source prints none for that road.
    """

    code: str
    name: str
    series: Series
    shape: Shape | None
    background: Color | None
    legend: Color | None
    secondary: tuple[Color, ...] = ()
    alt_background: str = ""
    symbol_class: SymbolClass | None
    conventional: FaceSize | None = None
    multi_lane: FaceSize | None = None
    expressway: FaceSize | None = None
    freeway: FaceSize | None = None
    oversized: FaceSize | None = None
    minimum: FaceSize | None = None
    size_text: str = ""
    ttc_sizes: str = ""
    path_sizes: str = ""
    is_plaque: bool = False
    mutcd_section: str = ""
    mutcd_table: str = ""
    retro_row: RetroRow | None = None
    exclusion_key: ExclusionKey | None = None
    exclusion_needs_confirmation: bool = False
    exclusion_note: str = ""
    edition: str
    name_basis: str = ""
    color_basis: str = ""
    notes: str = ""

    @property
    def is_local(self) -> bool:
        """Return whether this is an agency's own sign type."""
        return self.table_id == LOCAL_TABLE_ID

    @property
    def is_name_from_memory(self) -> bool:
        """Return whether the name was recalled rather than read."""
        return "memory" in self.name_basis

    @property
    def are_colors_from_memory(self) -> bool:
        """Return whether a colour was recalled or could not be verified."""
        return "memory" in self.color_basis or "not verified" in self.color_basis


def normalise_code(code: str) -> str:
    """
    Return a code in the form in which codes are compared: no blanks, plain hyphens, one case.

    Examples
    --------
    >>> normalise_code(" W16 - 7P ")
    'w16-7p'
    """
    return _DASHES.sub("-", "".join(code.split())).casefold()


def split_variant(code: str) -> tuple[str, str]:
    """
    Return a normalised code without its trailing L or R, and the letter; once only.

    Whether the letter is a variant at all is for the caller: a code that exists as it stands
    comes first.

    Examples
    --------
    >>> split_variant("R3-7 (L)")
    ('r3-7', 'L')
    >>> split_variant("R1-1")
    ('r1-1', '')
    """
    normal = normalise_code(code)
    match = _VARIANT.fullmatch(normal)
    if match is None:
        return normal, ""
    return match["base"], match["side"].upper()


@cache
def sign_types() -> tuple[SignType, ...]:
    """Return every sign type of the catalogue, in the order of the file."""
    return tuple(_sign_type(row) for row in read_table("sign_catalogue.toml").rows)


@cache
def _types_by_code() -> dict[str, SignType]:
    return {normalise_code(each.code): each for each in sign_types()}


def exact_sign_type(code: str) -> SignType | None:
    """Return the catalogued type of exactly this code, L and R not stripped, if any."""
    return _types_by_code().get(normalise_code(code))


def find_sign_type(code: str) -> tuple[SignType, str]:
    """
    Return the catalogued sign type of a code, and its left or right variant.

    Parameters
    ----------
    code : str
        A designation such as ``"W16-7p"`` or ``"R3-7 L"``; case and blanks do not matter.

    Returns
    -------
    tuple of SignType and str
        The variant is ``"L"``, ``"R"`` or empty. A code whose own last letter is L or R, such
        as OM3-L, is found as it stands.

    Raises
    ------
    NoPublishedValueError
        If the catalogue has no such code.

    References
    ----------
    .. [1] MUTCD 11th edition (2023, Revision 1), sign size tables; see the row's own mark.

    Examples
    --------
    >>> found, variant = find_sign_type("w1-2R")
    >>> found.code, variant
    ('W1-2', 'R')
    >>> find_sign_type("OM3-L")[1]
    ''
    """
    exact = exact_sign_type(code)
    if exact is not None:
        return exact, ""
    base, variant = split_variant(code)
    found = _types_by_code().get(base)
    if found is None or not variant:
        raise NoPublishedValueError(unknown_code_message(code))
    return found, variant


def unknown_code_message(code: str) -> str:
    """Return the sentence that says a code was not found and what to do."""
    if not code.strip():
        return "No sign code was given; the catalogue is looked up by code."
    return (
        f"'{code.strip()}' is not in the sign catalogue of the 11th edition; correct the code, "
        "give it an alias, or add it as a sign type of the agency's own."
    )


def standard_size(sign_type: SignType, road_class: RoadClass) -> FaceSize:
    """
    Return the size the tables print for a sign type on one class of road.

    Where a table has one column for all conventional roads, it holds for multi-lane roads too.

    Parameters
    ----------
    sign_type : SignType
        From the catalogue or the agency's own.
    road_class : RoadClass
        The road the sign stands on.

    Returns
    -------
    FaceSize
        The width is ``None`` where it varies with the legend; ``sign_type.size_text`` keeps
        the printed form and ``sign_type.notes`` what the table says of it. [in]

    Raises
    ------
    NoPublishedValueError
        If no size is printed for that road.

    References
    ----------
    .. [1] MUTCD 11th edition (2023, Revision 1), the table named in ``sign_type.mutcd_table``.

    Examples
    --------
    >>> size = standard_size(find_sign_type("R1-1")[0], RoadClass.CONVENTIONAL_SINGLE_LANE)
    >>> size.width_in, size.height_in
    (Decimal('30'), Decimal('30'))
    """
    size = {
        RoadClass.CONVENTIONAL_SINGLE_LANE: sign_type.conventional,
        RoadClass.CONVENTIONAL_MULTI_LANE: sign_type.multi_lane or sign_type.conventional,
        RoadClass.EXPRESSWAY: sign_type.expressway,
        RoadClass.FREEWAY: sign_type.freeway,
    }[road_class]
    if size is None:
        where = f" in table {sign_type.mutcd_table}" if sign_type.mutcd_table else ""
        printed = f" Printed: {sign_type.size_text}." if sign_type.size_text else ""
        msg = (
            f"No size is printed for {sign_type.code} on {road_class.words}{where};"
            f" an engineer has to set it.{printed}"
        )
        raise NoPublishedValueError(msg)
    return size


def _size(row: TableRow, prefix: str) -> FaceSize | None:
    width = row.optional_decimal(f"{prefix}width_in")
    height = row.optional_decimal(f"{prefix}height_in")
    return None if width is None and height is None else FaceSize(width, height)


def _color(row: TableRow, key: str) -> Color | None:
    return Color(row.text(key)) if key in row.cells else None


def _sign_type(row: TableRow) -> SignType:
    published = row.published()
    edition = row.text("edition")
    section = row.optional_text("mutcd_section")
    published["source"] = f"{edition}, table {row.text('mutcd_table')}" + (
        f", section {section}" if section else ""
    )
    published["verification"] = row.text("verified")
    return SignType(
        **published,
        code=row.text("code"),
        name=row.text("name"),
        series=Series(row.text("series")),
        shape=Shape(row.text("shape")),
        background=_color(row, "background_color"),
        legend=_color(row, "legend_color"),
        secondary=tuple(
            Color(each) for each in row.optional_text("secondary_color").split("/") if each
        ),
        alt_background=row.optional_text("alt_background"),
        symbol_class=SymbolClass(row.text("symbol_class")),
        conventional=_size(row, ""),
        multi_lane=_size(row, "multilane_"),
        expressway=_size(row, "expressway_"),
        freeway=_size(row, "freeway_"),
        oversized=_size(row, "oversized_"),
        minimum=_size(row, "minimum_"),
        size_text=row.optional_text("size_text"),
        ttc_sizes=row.optional_text("ttc_sizes"),
        path_sizes=row.optional_text("path_sizes"),
        is_plaque=row.flag("is_plaque"),
        mutcd_section=section,
        mutcd_table=row.text("mutcd_table"),
        retro_row=RetroRow(row.text("retro_row")),
        exclusion_key=ExclusionKey(row.text("exclusion_key"))
        if "exclusion_key" in row.cells
        else None,
        exclusion_needs_confirmation=row.flag("exclusion_needs_confirmation"),
        exclusion_note=row.optional_text("exclusion_note"),
        edition=edition,
        name_basis=row.text("name_basis"),
        color_basis=row.text("color_basis"),
        notes=row.optional_text("notes"),
    )
