"""The one enumeration of verdicts, for a colour, a contrast and a sign alike."""

from enum import StrEnum


class Verdict(StrEnum):
    """What can be said of a colour, a contrast or a sign against its published level."""

    MEETS = "meets"
    BELOW = "below"
    UNDECIDED = "undecided"
    NO_USABLE_READING = "no usable reading"
    NO_LEVEL = "no level"
    SHEETING_NOT_ALLOWED = "sheeting not allowed"
    EXCLUDED = "excluded"
