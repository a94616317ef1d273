"""Whether a face to be ordered is still the standard one: its code and its size."""

from dataclasses import dataclass
from enum import StrEnum

from inventory.engineering.ordering.stock import SIZE_TOLERANCE_IN
from inventory.engineering.standards.catalogue import (
    FaceSize,
    SignType,
    exact_sign_type,
    standard_size,
)
from inventory.engineering.standards.tables import PublishedRow, read_table
from inventory.engineering.standards.vocabulary import Checked, Edition, RoadClass
from inventory.errors import NoPublishedValueError

SUPERSEDED_FILE = "superseded_codes.toml"

# Editions in the order of their years, as the catalogue writes them at its rows.
_LISTED_LAST = {"MUTCD 2003": 2003, "MUTCD 2009": 2009}
_EDITION_YEAR = {Edition.MUTCD_2009: 2009, Edition.MUTCD_11: 2023}


class Check(StrEnum):
    """What a check of a face is about."""

    CODE = "code"
    SIZE = "size"
    NOT_CHECKED = "not_checked"


@dataclass(frozen=True, slots=True, kw_only=True)
class StandardWarning:
    """
    Why a face may not be the standard one, with the table and row that say so.

    ``successor`` is the code to order instead, ``size`` the standard size where one is known.
    """

    check: Check
    sentence: str
    table: str
    row: str
    checked: Checked
    successor: str = ""
    size: FaceSize | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Superseded(PublishedRow):
    successor: str


def standard_warnings(
    sign_type: SignType,
    width_in: float,
    height_in: float,
    road_class: RoadClass | None,
    edition: Edition,
) -> tuple[StandardWarning, ...]:
    """
    Return why a face is not, or may not be, the standard one for its road.

    Parameters
    ----------
    sign_type : SignType
        The type that is to be ordered.
    width_in, height_in : float
        Size of the face, as the catalogue measures its shape. [in]
    road_class : RoadClass or None
        The road it will stand on; ``None`` when it is not known.
    edition : Edition
        The edition that binds the agency: a code that edition still lists is not withdrawn.

    Returns
    -------
    tuple of StandardWarning
        None or one. Of a withdrawn code the size is not looked at. Larger than standard is no
        fault. A size for which nothing is printed is told as not checked.

    References
    ----------
    .. [1] MUTCD 11th edition (2023, Revision 1), the size table each warning names.

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> road, edition = RoadClass.EXPRESSWAY, Edition.MUTCD_11
    >>> [each.successor for each in standard_warnings(find_sign_type("R1-4")[0], 18, 6,
    ...     RoadClass.CONVENTIONAL_SINGLE_LANE, edition)]
    ['R1-3P']
    >>> [(each.check.value, each.table, each.row) for each in
    ...     standard_warnings(find_sign_type("R1-1")[0], 30, 30, road, edition)]
    [('size', '2B-1', 'R1-1')]
    """
    withdrawn = _code_warning(sign_type, edition)
    if withdrawn is not None:
        return (withdrawn,)  # the size of the old code says nothing of the new one
    too_small = _size_warning(sign_type, width_in, height_in, road_class)
    return () if too_small is None else (too_small,)


def successor_of(sign_type: SignType, edition: Edition) -> SignType | None:
    """
    Return the type that takes the place of a withdrawn one, under an edition; else ``None``.

    Examples
    --------
    >>> old = exact_sign_type("R4-11")
    >>> successor_of(old, Edition.MUTCD_11).code, successor_of(old, Edition.MUTCD_2009)
    ('R9-20', None)
    """
    last = _LISTED_LAST.get(sign_type.edition)
    if last is None or last >= _EDITION_YEAR[edition.manual]:
        return None
    row = next(
        (
            each
            for each in read_table(SUPERSEDED_FILE).rows
            if each.text("row_id") == sign_type.code
        ),
        None,
    )
    return exact_sign_type(row.text("successor")) if row is not None else None


def _code_warning(sign_type: SignType, edition: Edition) -> StandardWarning | None:
    """Return that a code is no longer listed, with its successor where one is on record."""
    last = _LISTED_LAST.get(sign_type.edition)
    if last is None or last >= _EDITION_YEAR[edition.manual]:
        return None
    names = "the 2009 edition" if edition.manual is Edition.MUTCD_2009 else "the 11th edition"
    said = (
        f"{sign_type.code} was listed last in {last} (table {sign_type.mutcd_table}, row "
        f"{sign_type.code}) and is not in {names}"
    )
    successor = successor_of(sign_type, edition)
    if successor is None:
        return StandardWarning(
            check=Check.CODE,
            sentence=f"{said}; no successor is on record: look for the code that replaces it.",
            table=sign_type.mutcd_table,
            row=sign_type.code,
            checked=sign_type.checked,
        )
    row = next(
        each
        for each in read_table(SUPERSEDED_FILE).rows
        if each.text("row_id") == sign_type.code
    )
    mark = _Superseded(**row.published(), successor=successor.code).checked
    return StandardWarning(
        check=Check.CODE,
        sentence=(
            f"{said}; {successor.code}, {successor.name}, takes its place (table "
            f"{successor.mutcd_table}, row {successor.code}{_doubt(mark)}). Order that one."
        ),
        table=successor.mutcd_table,
        row=successor.code,
        checked=mark,
        successor=successor.code,
    )


def _size_warning(
    sign_type: SignType, width_in: float, height_in: float, road_class: RoadClass | None
) -> StandardWarning | None:
    """Return that a face is smaller than the tables print for its road, or was not checked."""
    if road_class is None:
        return _size_on_unknown_road(sign_type, width_in, height_in)
    try:
        size = standard_size(sign_type, road_class)
    except NoPublishedValueError:
        return _not_checked(
            sign_type, f"no size is printed for {sign_type.code} on {road_class.words}"
        )
    if not _is_smaller(width_in, height_in, size):
        return None
    return _too_small(
        sign_type,
        size,
        f"{_falls_short(width_in, height_in, size)} printed for {sign_type.code} on "
        f"{road_class.words}",
        _minimum_words(sign_type, width_in, height_in, road_class),
    )


def _size_on_unknown_road(
    sign_type: SignType, width_in: float, height_in: float
) -> StandardWarning | None:
    """Return what can be said of a size when the class of the road is not known."""
    printed: dict[RoadClass, FaceSize] = {}
    for road_class in RoadClass:
        try:
            printed[road_class] = standard_size(sign_type, road_class)
        except NoPublishedValueError:
            continue  # the tables print none for that road
    if not printed:
        return _not_checked(sign_type, f"no size is printed for {sign_type.code}")
    smaller = [each for each, size in printed.items() if _is_smaller(width_in, height_in, size)]
    if not smaller:
        return None
    if len(smaller) == len(printed):
        least = printed[smaller[0]]
        return _too_small(
            sign_type,
            least,
            f"{_falls_short(width_in, height_in, least)} printed for {sign_type.code} on "
            f"{smaller[0].words}, and than that of every other class of road",
            "",
        )
    first = smaller[0]
    return _not_checked(
        sign_type,
        f"the class of the road is not known, and "
        f"{_falls_short(width_in, height_in, printed[first])} printed for {sign_type.code} on "
        f"{first.words}",
    )


def _too_small(sign_type: SignType, size: FaceSize, said: str, minimum: str) -> StandardWarning:
    return StandardWarning(
        check=Check.SIZE,
        sentence=f"{said[0].upper()}{said[1:]} ({_where(sign_type)}).{minimum}",
        table=sign_type.mutcd_table,
        row=sign_type.code,
        checked=sign_type.checked,
        size=size,
    )


def _not_checked(sign_type: SignType, why: str) -> StandardWarning:
    return StandardWarning(
        check=Check.NOT_CHECKED,
        sentence=f"Size not checked: {why} ({_where(sign_type)}).",
        table=sign_type.mutcd_table,
        row=sign_type.code,
        checked=sign_type.checked,
    )


def _minimum_words(
    sign_type: SignType, width_in: float, height_in: float, road_class: RoadClass
) -> str:
    """Return what is said of the printed minimum, on a conventional road."""
    if sign_type.minimum is None or road_class in (RoadClass.EXPRESSWAY, RoadClass.FREEWAY):
        return ""
    if _is_smaller(width_in, height_in, sign_type.minimum):
        return f" It falls short even of the minimum printed, {_words(sign_type.minimum)}."
    return (
        f" It meets the minimum printed, {_words(sign_type.minimum)}, which is for low speeds "
        "and tight places (from memory)."
    )


def _is_smaller(width_in: float, height_in: float, size: FaceSize) -> bool:
    """Return whether a face falls short of a printed size in a dimension that is printed."""
    return any(
        asked is not None and own < float(asked) - SIZE_TOLERANCE_IN
        for own, asked in ((width_in, size.width_in), (height_in, size.height_in))
    )


def _falls_short(width_in: float, height_in: float, size: FaceSize) -> str:
    """Return that a face is smaller than a printed size, in the dimensions that are printed."""
    if size.width_in is None:
        return f"{height_in:g} in high is less than the {size.height_in:f} in"
    if size.height_in is None:
        return f"{width_in:g} in wide is less than the {size.width_in:f} in"
    return f"{width_in:g} × {height_in:g} in is smaller than the {_words(size)}"


def _where(sign_type: SignType) -> str:
    if sign_type.is_local:
        return "the agency's own sign type"
    return f"table {sign_type.mutcd_table}, row {sign_type.code}{_doubt(sign_type.checked)}"


def _doubt(mark: Checked) -> str:
    return "" if mark.is_verified else f"; {mark.words}"


def _words(size: FaceSize) -> str:
    if size.width_in is None:
        return f"{size.height_in:f} in high"
    if size.height_in is None:
        return f"{size.width_in:f} in wide"
    return f"{size.width_in:f} × {size.height_in:f} in"
