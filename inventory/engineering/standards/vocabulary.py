"""The words the published tables use, as enumerations."""

from enum import StrEnum

from inventory.errors import OutOfRangeError


class Checked(StrEnum):
    """
    How far a row was compared with its source; anything but ``YES`` is shown as unverified.

    Examples
    --------
    >>> Checked.PARTIAL.is_verified
    False
    """

    YES = "yes"
    PARTIAL = "partial"
    NO = "no"

    @property
    def is_verified(self) -> bool:
        """Return whether the value was read in the source named beside it."""
        return self is Checked.YES

    @property
    def words(self) -> str:
        """Return the mark as pages and reports show it."""
        return _CHECKED_WORDS[self]


_CHECKED_WORDS = {
    Checked.YES: "read in the source",
    Checked.PARTIAL: "unverified: read in part, or for a neighbouring edition",
    Checked.NO: "unverified: from memory",
}


def weakest(*marks: Checked) -> Checked:
    """
    Return the least checked of several marks: what rests on all of them is no surer than it.

    Parameters
    ----------
    *marks : Checked
        At least one mark.

    Raises
    ------
    OutOfRangeError
        If no mark is given.

    Examples
    --------
    >>> weakest(Checked.YES, Checked.NO, Checked.PARTIAL).value
    'no'
    """
    for mark in (Checked.NO, Checked.PARTIAL, Checked.YES):
        if mark in marks:
            return mark
    msg = "No mark was given; name at least one of yes, partial, no."
    raise OutOfRangeError(msg)


class Edition(StrEnum):
    """An edition of the manual that an agency may follow, or its recommended supplement."""

    MUTCD_2009 = "2009"
    MUTCD_11 = "11th-2023"
    MUTCD_2009_RECOMMENDED = "2009-recommended"

    @property
    def manual(self) -> "Edition":
        """Return the edition of the manual itself: the recommendation belongs to 2009."""
        if self is Edition.MUTCD_2009_RECOMMENDED:
            return Edition.MUTCD_2009
        return self

    @property
    def words(self) -> str:
        """Return the edition as a sentence names it."""
        return _EDITION_WORDS[self]


_EDITION_WORDS = {
    Edition.MUTCD_2009: "the 2009 edition (Table 2A-3)",
    Edition.MUTCD_11: "the 11th edition (Table 2A-5)",
    Edition.MUTCD_2009_RECOMMENDED: "the FHWA memorandum of 5 April 2012",
}


class Color(StrEnum):
    """A colour of a sign face, spelt as the standards spell it."""

    WHITE = "white"
    YELLOW = "yellow"
    ORANGE = "orange"
    GREEN = "green"
    RED = "red"
    BLUE = "blue"
    BROWN = "brown"
    BLACK = "black"
    PURPLE = "purple"
    LIGHT_BLUE = "light-blue"
    FLUORESCENT_YELLOW_GREEN = "fluorescent-yellow-green"
    FLUORESCENT_YELLOW = "fluorescent-yellow"
    FLUORESCENT_ORANGE = "fluorescent-orange"
    FLUORESCENT_PINK = "fluorescent-pink"
    FLUORESCENT_GREEN = "fluorescent-green"
    FLUORESCENT_RED = "fluorescent-red"

    @property
    def words(self) -> str:
        """Return the colour as a sentence names it."""
        if self.value.startswith("fluorescent-"):
            return "fluorescent " + self.value.removeprefix("fluorescent-")
        return self.value.replace("-", " ")


class SignColors(StrEnum):
    """A colour pair as the level tables print it, legend first."""

    WHITE_ON_GREEN = "white-on-green"
    WHITE_ON_BLUE = "white-on-blue"
    WHITE_ON_BROWN = "white-on-brown"
    BLACK_ON_YELLOW = "black-on-yellow"
    BLACK_ON_ORANGE = "black-on-orange"
    WHITE_ON_RED = "white-on-red"
    BLACK_ON_WHITE = "black-on-white"

    @property
    def words(self) -> str:
        """Return the pair as a sentence names it."""
        return self.value.replace("-", " ")


class Shape(StrEnum):
    """The outline of a sign blank."""

    OCTAGON = "octagon"
    TRIANGLE_DOWN = "triangle-down"
    DIAMOND = "diamond"
    RECTANGLE = "rectangle"
    PENTAGON = "pentagon"
    CIRCLE = "circle"
    PENNANT = "pennant"
    CROSSBUCK = "crossbuck"
    TRAPEZOID = "trapezoid"


class SymbolClass(StrEnum):
    """What a face carries: words, a bold symbol of the published list, a fine one, nothing."""

    TEXT = "text"
    BOLD = "bold"
    FINE = "fine"
    NONE = "none"


class SizeCriterion(StrEnum):
    """The size and symbol condition of a row of the level tables."""

    ANY = "any"
    BOLD_OR_48_IN = "bold-or-48in"
    UNDER_48_IN = "under-48in"


class SheetingClass(StrEnum):
    """A sheeting column of the level tables."""

    BEADED_I = "beaded-I"
    BEADED_II = "beaded-II"
    BEADED_III = "beaded-III"
    PRISMATIC = "prismatic"

    @property
    def words(self) -> str:
        """Return the column as a sentence names it."""
        if self is SheetingClass.PRISMATIC:
            return "prismatic sheeting"
        return f"beaded Type {self.value.removeprefix('beaded-')} sheeting"


class Optics(StrEnum):
    """How a sheeting returns light."""

    BEADED = "beaded"
    PRISMATIC = "prismatic"
    UNKNOWN = "unknown"


class SheetingType(StrEnum):
    """A retroreflective sheeting type of ASTM D4956."""

    I = "I"  # noqa: E741 - the standard's own numeral
    II = "II"
    III = "III"
    IV = "IV"
    V = "V"
    VI = "VI"
    VII = "VII"
    VIII = "VIII"
    IX = "IX"
    X = "X"
    XI = "XI"


class MountClass(StrEnum):
    """The split the level tables make for white-legend guide signs."""

    POST = "post"
    OVERHEAD = "overhead"


class Series(StrEnum):
    """The family of signs a code is filed under."""

    REGULATORY = "regulatory"
    WARNING = "warning"
    SCHOOL = "school"
    GUIDE = "guide"
    SERVICE = "service"
    RECREATION = "recreation"
    TTC = "ttc"
    GRADE_CROSSING = "grade-crossing"
    BICYCLE = "bicycle"
    OBJECT_MARKER = "object-marker"


class RoadClass(StrEnum):
    """The kinds of road for which the sign size tables print a size."""

    CONVENTIONAL_SINGLE_LANE = "conventional_single_lane"
    CONVENTIONAL_MULTI_LANE = "conventional_multi_lane"
    EXPRESSWAY = "expressway"
    FREEWAY = "freeway"

    @property
    def words(self) -> str:
        """Return the road class as a sentence names it."""
        return _ROAD_WORDS[self]


_ROAD_WORDS = {
    RoadClass.CONVENTIONAL_SINGLE_LANE: "a conventional single-lane road",
    RoadClass.CONVENTIONAL_MULTI_LANE: "a conventional multi-lane road",
    RoadClass.EXPRESSWAY: "an expressway",
    RoadClass.FREEWAY: "a freeway",
}


class ExclusionKey(StrEnum):
    """A clause under which an agency may leave a sign out of its method."""

    PARKING = "parking-standing-stopping"
    WALKING = "walking-hitchhiking-crossing"
    ACKNOWLEDGMENT = "acknowledgment"
    BLUE_OR_BROWN = "blue-or-brown"
    BIKEWAY = "bikeway-exclusive"


class LightCondition(StrEnum):
    """The light under which a colour is judged."""

    DAYTIME = "daytime"
    NIGHTTIME = "nighttime"
