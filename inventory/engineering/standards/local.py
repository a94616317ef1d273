"""An agency's own sign types and aliases, in front of the catalogue."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from inventory.engineering.standards.catalogue import (
    LOCAL_TABLE_ID,
    FaceSize,
    SignType,
    exact_sign_type,
    normalise_code,
    split_variant,
    unknown_code_message,
)
from inventory.engineering.standards.tables import exact_decimal
from inventory.engineering.standards.vocabulary import (
    Checked,
    Color,
    Series,
    Shape,
    SymbolClass,
)
from inventory.errors import NoPublishedValueError, OutOfRangeError


class ResolvedVia(StrEnum):
    """Where a code was found."""

    ALIAS = "alias"
    LOCAL = "local"
    CATALOGUE = "catalogue"


@dataclass(frozen=True, slots=True)
class ResolvedCode:
    """The sign type a code stands for, its left or right variant, and where it was found."""

    sign_type: SignType
    variant: str
    via: ResolvedVia


def local_sign_type(
    *,
    code: str,
    name: str,
    series: Series,
    shape: Shape | None = None,
    background: Color | None = None,
    legend: Color | None = None,
    width_in: Decimal | float | None = None,
    height_in: Decimal | float | None = None,
    symbol_class: SymbolClass | None = None,
    is_plaque: bool = False,
) -> SignType:
    """
    Return an agency's own sign type; what it leaves out stays unknown.

    Parameters
    ----------
    code, name : str
        As the agency writes them.
    series : Series
        Decides the safety class.
    shape : Shape, optional
        Outline of the blank.
    background, legend : Color, optional
        Decide which row of the level tables holds.
    width_in, height_in : Decimal, int or float, optional
        The agency's one size, for every class of conventional road. [in]
    symbol_class : SymbolClass, optional
        Bold only if the agency's engineer says that the symbol is one.
    is_plaque : bool
        Whether it hangs under another sign.

    Raises
    ------
    OutOfRangeError
        If the code or the name is blank, or a dimension is not a positive number.

    Examples
    --------
    >>> own = local_sign_type(code="TR-7", name="Trail Head", series=Series.GUIDE)
    >>> own.is_local, own.background
    (True, None)
    """
    if not code.strip() or not name.strip():
        msg = "A sign type of the agency's own needs a code and a name; one of them is blank."
        raise OutOfRangeError(msg)
    width, height = (
        None if value is None else exact_decimal(value, f"{code}: sign dimension in inches")
        for value in (width_in, height_in)
    )
    for value in (width, height):
        if value is not None and value <= 0:
            msg = f"A sign dimension of {value} in is not possible; it must be above 0 in."
            raise OutOfRangeError(msg)
    return SignType(
        table_id=LOCAL_TABLE_ID,
        row_id=code.strip(),
        checked=Checked.YES,
        source="the agency's own sign type",
        verification="given by the agency",
        code=code.strip(),
        name=name.strip(),
        series=series,
        shape=shape,
        background=background,
        legend=legend,
        symbol_class=symbol_class,
        conventional=None if width is None and height is None else FaceSize(width, height),
        is_plaque=is_plaque,
        edition="the agency's own",
    )


class CodeBook:
    """One agency's reading of codes: aliases, then its own types, then the catalogue."""

    def __init__(
        self, local_types: Iterable[SignType] = (), aliases: Mapping[str, str] | None = None
    ) -> None:
        """
        Take the agency's own sign types and its aliases, their code to ours.

        Raises
        ------
        OutOfRangeError
            If two aliases of one code, or two types of one code, disagree.
        """
        self._types: dict[str, SignType] = {}
        for each in local_types:
            key = normalise_code(each.code)
            if self._types.setdefault(key, each) != each:
                msg = f"The agency has two sign types with the code '{each.code}'; keep one."
                raise OutOfRangeError(msg)
        self._aliases: dict[str, str] = {}
        for theirs, ours in (aliases or {}).items():
            key = normalise_code(theirs)
            if normalise_code(self._aliases.setdefault(key, ours)) != normalise_code(ours):
                msg = (
                    f"The alias '{theirs}' stands for two codes, '{self._aliases[key]}' and "
                    f"'{ours}'; keep one."
                )
                raise OutOfRangeError(msg)

    def resolve(self, code: str) -> ResolvedCode:
        """
        Return the sign type a code stands for.

        The code as it stands comes first, as an alias, as a type of the agency's own, in the
        catalogue; then the same three without a trailing L or R. An alias is followed once.

        Parameters
        ----------
        code : str
            As written on the list; case and blanks do not matter.

        Raises
        ------
        NoPublishedValueError
            If nothing is known by that code, an alias points to nothing, or the left or right
            letter of the code contradicts that of its alias.

        Examples
        --------
        >>> book = CodeBook(aliases={"CURVE": "W1-2"})
        >>> found = book.resolve("Curve-R")
        >>> found.sign_type.code, found.variant, found.via.value
        ('W1-2', 'R', 'alias')
        """
        exact = self._look_up(normalise_code(code))
        if exact is not None:
            return exact
        base, variant = split_variant(code)
        found = self._look_up(base) if variant else None
        if found is None:
            raise NoPublishedValueError(unknown_code_message(code))
        if found.variant and found.variant != variant:
            msg = (
                f"'{code.strip()}' ends in {variant} but its alias stands for the "
                f"{found.variant} variant of {found.sign_type.code}; correct the code or "
                "the alias."
            )
            raise NoPublishedValueError(msg)
        return ResolvedCode(found.sign_type, variant, found.via)

    def _look_up(self, key: str) -> ResolvedCode | None:
        """Return what a normalised code stands for as it is written."""
        target = self._aliases.get(key)
        if target is not None:
            return self._follow(key, target)
        own = self._types.get(key)
        if own is not None:
            return ResolvedCode(own, "", ResolvedVia.LOCAL)
        catalogued = exact_sign_type(key)
        if catalogued is not None:
            return ResolvedCode(catalogued, "", ResolvedVia.CATALOGUE)
        return None

    def _follow(self, key: str, target: str) -> ResolvedCode:
        """Return what an alias stands for; its target may carry a left or right letter."""
        base, variant = split_variant(target)
        for wanted, side in ((normalise_code(target), ""), (base, variant)):
            found = self._types.get(wanted) or exact_sign_type(wanted)
            if found is not None:
                return ResolvedCode(found, side, ResolvedVia.ALIAS)
        msg = f"The alias '{key}' stands for '{target}': {unknown_code_message(target)}"
        raise NoPublishedValueError(msg)


def resolve_code(
    code: str,
    *,
    local_types: Mapping[str, SignType] | None = None,
    aliases: Mapping[str, str] | None = None,
) -> ResolvedCode:
    """
    Return the sign type one code stands for; for many codes make one :class:`CodeBook`.

    Parameters
    ----------
    code : str
        As written on the list; case and blanks do not matter.
    local_types : mapping of str to SignType, optional
        The agency's own sign types by code.
    aliases : mapping of str to str, optional
        The agency's codes and what they stand for.

    Raises
    ------
    NoPublishedValueError
        If nothing is known by that code, or an alias does not lead anywhere.
    OutOfRangeError
        If two aliases or two types of one code disagree.

    Examples
    --------
    >>> resolve_code("w16-7p").via.value
    'catalogue'
    """
    return CodeBook((local_types or {}).values(), aliases).resolve(code)
