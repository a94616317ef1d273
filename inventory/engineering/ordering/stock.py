"""Which faces in stock are the faces that are wanted: exactly the same, first made first."""

import re
from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from inventory.engineering.standards.catalogue import SignType, normalise_code
from inventory.engineering.standards.vocabulary import Color, Optics

Key = TypeVar("Key", bound=Hashable)

SIZE_TOLERANCE_IN = 0.01  # sizes are typed to a hundredth of an inch at most

# What the names of the catalogue call a legend that is another one from place to place.
_OWN_WORDING = re.compile(
    r"\$?\bXX?\b|speed|distance|number|destination|street name|times|time limit|time of day"
    r"|\(days|days|hours|miles|tons|weight limit|clearance|route|mile\b|location",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedFace:
    """
    The face that is wanted for one place.

    ``sheeting_type`` is empty where any type in ``sheeting_types`` will do. ``background`` is
    ``None`` where it is not known, and nothing fits then.
    """

    code: str
    variant: str
    legend_text: str
    is_custom_legend: bool
    wording_varies: bool
    width_in: float
    height_in: float
    sheeting_types: frozenset[tuple[str, Optics]]
    background: Color | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockFace:
    """
    A face in stock; what is not known of it is empty or ``None``.

    ``kept_for`` is the place it was printed for or is reserved for: it is free for no other.
    """

    key: int
    code: str
    variant: str
    legend_text: str
    width_in: float | None
    height_in: float | None
    sheeting_type: str
    optics: Optics
    background: Color | None
    made_on: date | None
    kept_for: int | None = None


def wording_varies(sign_type: SignType) -> bool:
    """
    Return whether faces of one code read differently from place to place.

    Then two faces are the same only if both wordings are known. Read from the catalogue: its
    size varies with the legend, or its name says a number, a distance, a name or a time.
    Common practice, no source.

    Examples
    --------
    >>> from inventory.engineering.standards.catalogue import find_sign_type
    >>> [wording_varies(find_sign_type(code)[0]) for code in ("R1-1", "R2-1", "D3-1", "W13-1P")]
    [False, True, True, True]
    """
    return "varies" in sign_type.size_text.casefold() or bool(
        _OWN_WORDING.search(sign_type.name)
    )


def fits(wanted: WantedFace, face: StockFace) -> bool:
    """
    Return whether a face is the one that is wanted; what is not known never fits.

    Compared are code, left or right variant, wording, size (to a hundredth of an inch),
    sheeting type and optics, and background colour. Whom the face is kept for is not.

    Parameters
    ----------
    wanted : WantedFace
        What the place asks for. [in]
    face : StockFace
        A face in stock. [in]

    References
    ----------
    .. [1] Common practice, no source.

    Examples
    --------
    >>> wanted = WantedFace(code="R1-1", variant="", legend_text="", is_custom_legend=False,
    ...     wording_varies=False, width_in=30, height_in=30, background=Color.RED,
    ...     sheeting_types=frozenset({("XI", Optics.PRISMATIC)}))
    >>> face = StockFace(key=1, code="R1-1", variant="", legend_text="STOP", width_in=30.0,
    ...     height_in=30.0, sheeting_type="XI", optics=Optics.PRISMATIC, background=Color.RED,
    ...     made_on=None)
    >>> fits(wanted, face)
    True
    """
    if not face.code or _code(face.code, face.variant) != _code(wanted.code, wanted.variant):
        return False
    return (
        _is_size(face.width_in, wanted.width_in)
        and _is_size(face.height_in, wanted.height_in)
        and wanted.background is not None
        and face.background is wanted.background
        and (face.sheeting_type, face.optics) in wanted.sheeting_types
        and _reads_as_wanted(wanted, face)
    )


def first_made_first(faces: Iterable[StockFace]) -> list[StockFace]:
    """
    Return faces in the order of their making; of an unknown day last.

    Examples
    --------
    >>> first_made_first([])
    []
    """
    return sorted(
        faces, key=lambda each: (each.made_on is None, each.made_on or date.max, each.key)
    )


def fitting(
    wanted: WantedFace, faces: Iterable[StockFace], position: int | None = None
) -> list[StockFace]:
    """
    Return the faces that fit and are free for a place: kept for it, then first made first.

    Parameters
    ----------
    wanted : WantedFace
        What is wanted.
    faces : iterable of StockFace
        What is in stock.
    position : int, optional
        The place; a face kept for another place is left out.
    """
    free = [
        each
        for each in faces
        if (each.kept_for is None or each.kept_for == position) and fits(wanted, each)
    ]
    kept = [each for each in free if each.kept_for is not None]
    return first_made_first(kept) + first_made_first(
        each for each in free if each.kept_for is None
    )


def cover_from_stock(
    wanted: Sequence[tuple[Key, int | None, WantedFace]], faces: Iterable[StockFace]
) -> dict[Key, StockFace]:
    """
    Return which face in stock covers which place; no face covers two.

    The places are served in the order given, each with the face kept for it or else the one
    made first of those that fit.

    Parameters
    ----------
    wanted : sequence of (key, position, WantedFace)
        The most pressing first.
    faces : iterable of StockFace
        What is in stock.

    Returns
    -------
    dict of key to StockFace
        Without a key nothing in stock fits that is still free. As equal wishes have the same
        faces, no other choice covers more places of one kind.
    """
    kept: dict[int, list[StockFace]] = defaultdict(list)
    free: dict[str, list[StockFace]] = defaultdict(list)
    for face in first_made_first(faces):
        if face.kept_for is None:
            free[_code(face.code, face.variant)].append(face)
        else:
            kept[face.kept_for].append(face)
    left: dict[WantedFace, Iterator[StockFace]] = {}  # equal wishes draw on one pile
    taken: set[int] = set()
    covered: dict[Key, StockFace] = {}
    for key, position, each in wanted:
        if each not in left:
            same_code = free.get(_code(each.code, each.variant), [])
            left[each] = iter([face for face in same_code if fits(each, face)])
        own = kept.get(position, []) if position is not None else []
        found = next((face for face in own if face.key not in taken and fits(each, face)), None)
        if found is None:
            # Wishes that differ in what will do may share faces: look whether it is taken.
            found = next((face for face in left[each] if face.key not in taken), None)
        if found is not None:
            covered[key] = found
            taken.add(found.key)
    return covered


def _code(code: str, variant: str) -> str:
    return normalise_code(f"{code}{variant}")


def _is_size(size_in: float | None, wanted_in: float) -> bool:
    return size_in is not None and abs(size_in - wanted_in) <= SIZE_TOLERANCE_IN


def _reads_as_wanted(wanted: WantedFace, face: StockFace) -> bool:
    """Return whether the wording is that which is wanted, as far as it can be another one."""
    reads, asked = face.legend_text.strip(), wanted.legend_text.strip()
    if wanted.is_custom_legend:
        return bool(asked) and reads == asked
    if reads and asked:
        return reads.casefold() == asked.casefold()
    return not wanted.wording_varies
