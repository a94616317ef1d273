"""The elements of a face: what is judged, and by which rows that could apply."""

from dataclasses import dataclass
from enum import StrEnum

from inventory.engineering.standards.vocabulary import Checked, Color


class ElementKind(StrEnum):
    """What an element is: one colour, or the contrast of two."""

    COLOR = "color"
    CONTRAST = "contrast"


class Axis(StrEnum):
    """What distinguishes the rows of a level table for one colour."""

    SHEETING = "sheeting"
    MOUNT = "mount"
    SIZE = "size"


@dataclass(frozen=True, slots=True)
class Candidate:
    """
    A row that could apply to an element.

    ``level`` is in thousandths, of cd/lx/m² or of a ratio; ``None`` where the row prohibits
    the sheeting. ``place`` says where the row stands on each axis.
    """

    level: int | None
    table_id: str
    row_id: str
    checked: Checked
    place: tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class ElementPlan:
    """
    One thing to judge on a face.

    ``denominator`` is the colour a contrast divides by. ``no_level`` is the sentence that says
    why there is no row; ``not_known`` what of the face would have to be known to find one.
    ``unverified`` names what of the level was not compared with its source. ``decides`` is
    false for a colour that the face's own row leaves open. ``is_own_level`` says that the level
    is the agency's own, and ``agency_words`` what the agency decided about this colour.
    """

    kind: ElementKind
    color: Color
    denominator: Color | None = None
    candidates: tuple[Candidate, ...] = ()
    no_level: str = ""
    not_known: str = ""
    unknown: tuple[tuple[Axis, str], ...] = ()
    unverified: tuple[str, ...] = ()
    decides: bool = True
    is_recommended: bool = False
    is_own_level: bool = False
    agency_words: str = ""

    @property
    def name(self) -> str:
        """Return the element's name in stored results: a colour, or two with a slash."""
        if self.denominator is None:
            return self.color.value
        return f"{self.color.value}/{self.denominator.value}"

    @property
    def words(self) -> str:
        """Return what the element is called in a sentence."""
        if self.denominator is None:
            return self.color.words
        return f"{self.color.words}/{self.denominator.words} contrast"


@dataclass(frozen=True, slots=True)
class FacePlan:
    """Everything to judge on a face; ``excluded`` is the sentence that leaves it out whole."""

    elements: tuple[ElementPlan, ...] = ()
    excluded: str = ""
    not_known: str = ""
    notes: tuple[str, ...] = ()
