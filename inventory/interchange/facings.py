"""Which way a sign looks, from the letters, words or degrees of a list."""

import re
from enum import StrEnum

from inventory.engineering.places import (
    compass_to_bearing_deg,
    facing_from_traffic_deg,
    normalise_bearing_deg,
)
from inventory.errors import OutOfRangeError

_TRAVEL = re.compile(r"([NSEW]{1,3})B")
_DEGREES = re.compile(r"([-+]?\d+(?:\.\d*)?)\s*(?:°|DEG|DEGREES)?")


class Convention(StrEnum):
    """What a list's directions are about."""

    FRONT = "front"  # the way the front of the sign looks
    TRAFFIC = "traffic"  # the way the traffic travels that the sign serves


def read_facing(text: str, convention: Convention) -> float:
    """
    Return the true bearing the front looks towards.

    Parameters
    ----------
    text : str
        A compass point ("SW", "south-west"), a direction of travel ("NB", "northbound"), or
        degrees from 0 to 360.
    convention : Convention
        Whether the list gives the way the front looks, or the traffic served.

    Raises
    ------
    OutOfRangeError
        If the text is no direction, or names travel where the convention is the front.

    Examples
    --------
    >>> read_facing("NB", Convention.TRAFFIC)
    180.0
    >>> read_facing("north-east", Convention.FRONT)
    45.0
    """
    upper = " ".join(text.upper().split())
    degrees = _DEGREES.fullmatch(upper)
    if degrees is not None:
        value = float(degrees[1])
        if not 0.0 <= value <= 360.0:
            msg = f"{text} is not a bearing; bearings run from 0 to 360 degrees."
            raise OutOfRangeError(msg)
        bearing = normalise_bearing_deg(value)
    else:
        bearing = _compass_bearing(text, upper, convention)
    return facing_from_traffic_deg(bearing) if convention is Convention.TRAFFIC else bearing


def _compass_bearing(text: str, upper: str, convention: Convention) -> float:
    letters = re.sub(r"[\s\-/.]", "", upper)
    for word in ("NORTH", "SOUTH", "EAST", "WEST"):
        letters = letters.replace(word, word[0])
    letters = re.sub("BOUND$|BND$", "B", letters)
    travel = _TRAVEL.fullmatch(letters)
    if travel is not None:
        if convention is Convention.FRONT:
            msg = (
                f"'{text}' names the way traffic travels, but the convention is the way the "
                'front looks; set convention = "traffic" or translate it in [facing.values].'
            )
            raise OutOfRangeError(msg)
        letters = travel[1]
    return compass_to_bearing_deg(letters)
