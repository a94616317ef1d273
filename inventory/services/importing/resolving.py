"""What a row's code and colours come to, by the agency's own code book."""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from inventory.engineering.standards.vocabulary import Color
from inventory.errors import NoPublishedValueError
from inventory.models import ColourArea, Position, Sign
from inventory.services.importing.rows import Notebook, SourceField, SourceRow

if TYPE_CHECKING:
    from collections.abc import Mapping

    from inventory.engineering.standards.catalogue import SignType
    from inventory.engineering.standards.local import CodeBook, ResolvedCode

_IN_PARENTHESES = re.compile(r"(?P<code>.*\S)\s*\((?P<inside>[^()]+)\)\s*")
_CODE_FIELDS = frozenset({SourceField.CODE, SourceField.VARIANT})
_COLOR_FIELDS = frozenset(
    {SourceField.BACKGROUND, SourceField.LEGEND_COLOR, SourceField.SECONDARY_COLOR}
)
LONGEST_VARIANT = Position._meta.get_field("variant").max_length or 0


class Resolver:
    """Turns what rows say into what records hold; codes and colours are looked up."""

    def __init__(self, book: CodeBook, notebook: Notebook) -> None:
        self.notebook = notebook
        self._book = book
        self._resolve = lru_cache(maxsize=None)(self._resolve_code)

    def given(self, row: SourceRow) -> dict[str, Any]:
        """Return what a row gives to the records, by field."""
        said = row.values
        given = {
            str(name): value
            for name, value in said.items()
            if name not in _CODE_FIELDS | _COLOR_FIELDS
        }
        sign_type = self._code(row, given)
        if SourceField.CODE in said or not _COLOR_FIELDS.isdisjoint(said):
            given[SourceField.COLORS] = self._colors(row, sign_type)
        if given.get(SourceField.REMOVED) and (
            given.get(SourceField.STATUS) != Sign.State.REMOVED
        ):
            self._note(
                row,
                SourceField.REMOVED,
                given[SourceField.REMOVED][0],
                "the row says that the sign is installed; the date is kept with the row.",
            )
            given[SourceField.REMOVED] = None
        return given

    def _note(self, row: SourceRow, name: str, text: str, sentence: str) -> None:
        self.notebook.note(str(name), text, sentence, row.line)

    # Codes -----------------------------------------------------------------------------------

    def _code(self, row: SourceRow, given: dict[str, Any]) -> SignType | None:
        """Put code and variant among what is given; return the sign type, where it is known."""
        said = row.values
        if SourceField.VARIANT in said:
            given[SourceField.VARIANT] = said[SourceField.VARIANT]
        if SourceField.CODE not in said:
            return None
        text = said[SourceField.CODE]
        given |= {SourceField.SIGN_CODE: "", SourceField.SOURCE_CODE: text or ""}
        given.setdefault(SourceField.VARIANT, None)
        if text is None:
            return None
        found = self._resolve(text)
        if isinstance(found, str):
            self._note(row, SourceField.CODE, text, found)
            return None
        given[SourceField.SIGN_CODE] = found.sign_type.code
        own = said.get(SourceField.VARIANT)
        if own is None:
            given[SourceField.VARIANT] = found.variant or None
        elif found.variant and found.variant.casefold() != own.casefold():
            self._note(
                row,
                SourceField.VARIANT,
                own,
                f"the code '{text}' says {found.variant}; the list's own column is taken.",
            )
        return found.sign_type

    def _resolve_code(self, text: str) -> ResolvedCode | str:
        """Return what a code stands for, or the sentence that says it is kept as it is."""
        try:
            return self._book.resolve(text)
        except NoPublishedValueError as error:
            inside = _IN_PARENTHESES.fullmatch(text)
            if inside is not None and len(inside["inside"]) <= LONGEST_VARIANT:
                # "R2-1 (25)": what a sign of that code says, not part of the code.
                try:
                    found = self._book.resolve(inside["code"])
                except NoPublishedValueError:
                    pass
                else:
                    return type(found)(found.sign_type, inside["inside"].strip(), found.via)
            return f"{error} The sign is kept with its code as the list writes it."

    # Colours ---------------------------------------------------------------------------------

    def _colors(self, row: SourceRow, sign_type: SignType | None) -> list[list[str]]:
        said = row.values
        background = said.get(SourceField.BACKGROUND)
        legend = said.get(SourceField.LEGEND_COLOR)
        secondary = said.get(SourceField.SECONDARY_COLOR)
        others: tuple[str, ...] = (secondary,) if secondary else ()
        if sign_type is not None:
            background = self._choose(
                row, SourceField.BACKGROUND, background, sign_type.background, sign_type
            )
            legend = self._choose(
                row, SourceField.LEGEND_COLOR, legend, sign_type.legend, sign_type
            )
            others = others or tuple(color.value for color in sign_type.secondary)
        part = ColourArea.Part
        pairs = [(part.BACKGROUND, background), (part.LEGEND, legend)]
        # A colour is one area: the catalogue names the white bar of R5-1 beside its legend.
        pairs += [
            (part.SECONDARY, color) for color in others if color not in (background, legend)
        ]
        return [[each.value, str(color)] for each, color in pairs if color]

    def _choose(
        self,
        row: SourceRow,
        name: SourceField,
        listed: str | None,
        catalogued: Color | None,
        sign_type: SignType,
    ) -> str | None:
        """
        Return which of two colours is recorded.

        The list's, where the manual lets such a face have it or had it in an earlier edition
        (yellow beside fluorescent yellow-green); else the one the code stands for, with a note.
        """
        if listed is None or catalogued is None or listed == catalogued:
            return listed or (catalogued and catalogued.value)
        if name is SourceField.BACKGROUND and _may_be(listed, sign_type.alt_background):
            return listed
        if _family(listed) == _family(catalogued):
            return listed
        if listed in sign_type.secondary:
            # A list names the colour that strikes: the red circle of a black symbol.
            return catalogued.value
        self._note(
            row,
            name,
            listed,
            f"{sign_type.code} is {catalogued.words}; {catalogued.words} is recorded. Correct "
            "the colour or the code in the list.",
        )
        return catalogued.value


def _may_be(color: str, alternatives: str) -> bool:
    """Return whether the catalogue names a colour as an alternative; a plaque may match."""
    if alternatives.startswith("match"):
        return True
    words = re.split(r"[;\s]+", alternatives)
    return color in words


def _family(color: str) -> str:
    """Return the plain colour that a fluorescent one stands beside."""
    plain = color.removeprefix("fluorescent-")
    return Color.YELLOW.value if plain == "yellow-green" else plain


def faces_of(given: Mapping[str, Any]) -> int:
    """Return how many faces a row describes."""
    return len(given.get(SourceField.SIZES) or [()])


def facing_of(given: Mapping[str, Any], number: int) -> float | None:
    """
    Return which way a face of a row looks, the first one numbered 0.

    Two faces of one size stand back to back; of faces of other sizes only the first is known.
    """
    facing: float | None = given.get(SourceField.FACING)
    if number == 0 or facing is None:
        return facing
    return (facing + 180.0) % 360.0 if are_back_to_back(given) else None


def are_back_to_back(given: Mapping[str, Any]) -> bool:
    """Return whether a row describes two faces of one size, the two sides of one blank."""
    sizes = given.get(SourceField.SIZES) or []
    return len(sizes) == 2 and sizes[0] == sizes[1]
