"""How a face is built: base sheeting, what makes each colour, overlay, blank."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from inventory.engineering.production.colouring import Colouring, LoggedInks, contradicts_log

COLOURING_WORDS = {
    Colouring.SHEETING: "sheeting",
    Colouring.PRINTED_SPOT: "printed spot",
    Colouring.PRINTED_MIXED: "printed mixed",
    Colouring.FILM: "film",
    Colouring.OPAQUE: "opaque",
}
WITH_OVERLAY, WITHOUT_OVERLAY, OVERLAY_AS_ASKED = "with", "without", "asked"
_OVERLAY_WORDS = {
    WITH_OVERLAY: "with overlay",
    WITHOUT_OVERLAY: "without overlay",
    OVERLAY_AS_ASKED: "overlay as asked",
}


@dataclass(frozen=True, slots=True)
class BuiltArea:
    """What makes one colour of a part of a face."""

    part: str
    color: str
    colouring: Colouring

    @property
    def words(self) -> str:
        """Return it as a list names it."""
        return f"{self.color.replace('-', ' ')} {COLOURING_WORDS[self.colouring]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceBuild:
    """How a face is to be built; a colour without an area is not stated."""

    sheeting_type: str
    base_color: str
    overlay: str
    areas: tuple[BuiltArea, ...] = ()
    blank_thickness_in: str = ""
    blank_holes: str = ""
    rule_words: str = ""

    @classmethod
    def from_stored(cls, stored: Mapping[str, Any]) -> "FaceBuild":
        """Return a build from what an order line keeps of it."""
        rest = {name: value for name, value in stored.items() if name != "areas"}
        areas = tuple(
            BuiltArea(each["part"], each["color"], Colouring(each["colouring"]))
            for each in stored["areas"]
        )
        return cls(areas=areas, **rest)

    def as_stored(self) -> dict[str, Any]:
        """Return it as an order line keeps it, in plain values."""
        return {
            "rule_words": self.rule_words,
            "sheeting_type": self.sheeting_type,
            "base_color": self.base_color,
            "overlay": self.overlay,
            "blank_thickness_in": self.blank_thickness_in,
            "blank_holes": self.blank_holes,
            "areas": [
                {
                    "part": each.part,
                    "color": each.color,
                    "colouring": each.colouring.value,
                }
                for each in self.areas
            ],
        }

    def colouring_of(self, part: str, color: str) -> Colouring:
        """Return what is to make a colour; not known where the build does not state it."""
        for each in self.areas:
            if (each.part, each.color) == (part, color):
                return each.colouring
        return Colouring.UNKNOWN

    @property
    def words(self) -> str:
        """
        Return it in one line.

        Examples
        --------
        >>> FaceBuild(sheeting_type="XI", base_color="white", overlay="with", areas=(
        ...     BuiltArea("background", "red", Colouring.PRINTED_SPOT),)).words
        'on white Type XI; red printed spot; with overlay'
        """
        base = f"on {self.base_color.replace('-', ' ')} Type {self.sheeting_type}"
        return f"{base}; {self.words_without_base}"

    @property
    def words_without_base(self) -> str:
        """Return it in one line, where the base sheeting stands beside it."""
        parts = (
            ", ".join(each.words for each in self.areas),
            _OVERLAY_WORDS[self.overlay],
            f"blank {self.blank_thickness_in} in" if self.blank_thickness_in else "",
            f"holes: {self.blank_holes}" if self.blank_holes else "",
        )
        return "; ".join(each for each in parts if each)


def build_doubts(
    build: FaceBuild,
    *,
    roll_color: str | None,
    inks: LoggedInks,
    overlays: Iterable[bool | None],
) -> tuple[str, ...]:
    """
    Return where the press log says otherwise than the build, a sentence each.

    Parameters
    ----------
    build : FaceBuild
        As it was frozen into the order line.
    roll_color : str or None
        The colour of the sheeting that was on; ``None`` where that is not known.
    inks : LoggedInks
        What the log says of the inks.
    overlays : iterable of bool or None
        For each stretch of the printing whether overlay film was on; ``None``: not known.

    Returns
    -------
    tuple of str
        Empty where nothing contradicts; what the log does not tell contradicts nothing.

    References
    ----------
    .. [1] Common practice, no source.

    Examples
    --------
    >>> build = FaceBuild(sheeting_type="XI", base_color="white", overlay="with")
    >>> none_known = LoggedInks(frozenset(), is_complete=False, is_process_only=False)
    >>> build_doubts(build, roll_color="white", inks=none_known, overlays=[None])
    ()
    >>> build_doubts(build, roll_color="white", inks=none_known, overlays=[False])
    ('The build says with overlay; by the press log none was on.',)
    """
    found = []
    if roll_color is not None and roll_color != build.base_color:
        found.append(
            f"The build says {build.base_color.replace('-', ' ')} base sheeting; by the press "
            f"log it was {roll_color.replace('-', ' ')}."
        )
    was_on = list(overlays)
    if build.overlay == WITH_OVERLAY and False in was_on:
        found.append("The build says with overlay; by the press log none was on.")
    if build.overlay == WITHOUT_OVERLAY and True in was_on:
        found.append("The build says without overlay; by the press log film was on.")
    found.extend(
        f"The build says {each.words}; the press log shows "
        + ("only process inks." if inks.is_process_only else "no spot ink of that colour.")
        for each in build.areas
        if each.colouring is Colouring.PRINTED_SPOT
        and contradicts_log(each.color, each.colouring, roll_color or "", inks)
    )
    return tuple(found)
