"""Which faces are taken together: a cohort and its name."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Self

from inventory.engineering.assessment.face import Colouring
from inventory.engineering.inspection.vocabulary import How
from inventory.engineering.standards.vocabulary import Optics
from inventory.errors import OutOfRangeError

_NOT_KNOWN = "?"


class Overlay(StrEnum):
    """Whether a face has a protective film over its print."""

    UNKNOWN = "unknown"
    NONE = "none"
    FILM = "film"

    @property
    def words(self) -> str:
        """Return it in words."""
        return {
            Overlay.UNKNOWN: "overlay not known",
            Overlay.NONE: "no overlay",
            Overlay.FILM: "under an overlay film",
        }[self]


_COLOURING_WORDS = {
    Colouring.UNKNOWN: "colouring not known",
    Colouring.SHEETING: "colour of the sheeting",
    Colouring.PRINTED_SPOT: "printed, spot colour",
    Colouring.PRINTED_MIXED: "printed, mixed colour",
    Colouring.FILM: "coloured film",
    Colouring.OPAQUE: "opaque",
}


@dataclass(frozen=True, slots=True, order=True)
class CohortKey:
    """
    What the faces of a cohort have in common; readings by another method are another cohort.

    Parameters
    ----------
    sheeting_type : str
        ASTM D4956 type, empty where it is not known.
    optics : Optics
        Beaded or prismatic, where known.
    color : str
        The colour that was read.
    colouring : Colouring
        What makes the colour.
    overlay : Overlay
        Whether there is a film over it.
    how : How
        ``hand_held`` or ``mobile``.

    Examples
    --------
    >>> white = CohortKey("XI", Optics.PRISMATIC, "white", Colouring.SHEETING, Overlay.NONE,
    ...                   How.HAND_HELD)
    >>> white.text
    'XI/prismatic/white/sheeting/none/hand_held'
    >>> CohortKey.read(white.text) == white
    True
    >>> white.words
    'Type XI white, prismatic, colour of the sheeting, no overlay, read by hand-held instrument'
    """

    sheeting_type: str
    optics: Optics
    color: str
    colouring: Colouring
    overlay: Overlay
    how: How

    @property
    def text(self) -> str:
        """Return the key as one word, to store and to sort by."""
        parts = (
            self.sheeting_type,
            self.optics.value,
            self.color,
            self.colouring.value,
            self.overlay.value,
            self.how.value,
        )
        return "/".join(part or _NOT_KNOWN for part in parts)

    @classmethod
    def read(cls, text: str) -> Self:
        """
        Return the key that a stored word stands for.

        Raises
        ------
        OutOfRangeError
            If it is none.
        """
        parts = ["" if part == _NOT_KNOWN else part for part in text.split("/")]
        try:
            sheeting_type, optics, color, colouring, overlay, how = parts
            return cls(
                sheeting_type,
                Optics(optics),
                color,
                Colouring(colouring),
                Overlay(overlay),
                How(how),
            )
        except ValueError as error:
            msg = f"'{text}' is not the key of a cohort; it has six parts, such as "
            raise OutOfRangeError(
                msg + "XI/prismatic/white/sheeting/none/hand_held."
            ) from error

    @property
    def words(self) -> str:
        """Return the cohort in words; what is not known says so."""
        sheeting = f"Type {self.sheeting_type}" if self.sheeting_type else "Type not known,"
        optics = "optics not known" if self.optics is Optics.UNKNOWN else self.optics.value
        made = f"{optics}, {_COLOURING_WORDS[self.colouring]}, {self.overlay.words}"
        by = "mobile" if self.how is How.MOBILE else "hand-held"
        return f"{sheeting} {self.color.replace('_', ' ')}, {made}, read by {by} instrument"
