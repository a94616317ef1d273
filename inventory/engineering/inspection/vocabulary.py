"""The words of an inspection: how it was made, the state of the face, how bad damage is."""

from enum import IntEnum, StrEnum


class How(StrEnum):
    """How an inspection was made."""

    HAND_HELD = "hand_held"
    MOBILE = "mobile"
    VISUAL_NIGHT = "visual_night"
    VISUAL_DAY = "visual_day"

    @property
    def is_instrument(self) -> bool:
        """Return whether the inspection measured, rather than looked."""
        return self in (How.HAND_HELD, How.MOBILE)

    @property
    def words(self) -> str:
        """Return how the inspection was made, as a sentence says it."""
        return _HOW_WORDS[self]


_HOW_WORDS = {
    How.HAND_HELD: "hand-held",
    How.MOBILE: "mobile, from a moving vehicle",
    How.VISUAL_NIGHT: "looked at by night",
    How.VISUAL_DAY: "looked at by day",
}


class SurfaceState(StrEnum):
    """The state of the face while it was read; empty when it was not recorded."""

    UNKNOWN = ""
    DRY = "dry"
    CLEANED = "cleaned"
    DIRTY = "dirty"
    DAMP = "damp"
    DEW = "dew"
    FROST = "frost"


class Severity(IntEnum):
    """How bad what was seen is."""

    NONE = 0
    SLIGHT = 1
    MODERATE = 2
    SEVERE = 3
