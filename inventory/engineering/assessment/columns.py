"""Which columns of the level tables the sheeting of one colour of a face may fall under."""

from dataclasses import dataclass

from inventory.engineering.assessment.face import Face, FaceArea, Part
from inventory.engineering.standards.sheeting import find_sheeting_type, sheeting_classes
from inventory.engineering.standards.vocabulary import (
    Checked,
    Color,
    Optics,
    SheetingClass,
    weakest,
)


@dataclass(frozen=True, slots=True)
class Columns:
    """
    The columns that could apply, what is not known of the sheeting, and how sure they are.

    ``checked`` is how far "this type falls under that column" was compared with a source.
    """

    classes: tuple[SheetingClass, ...]
    unknown: str
    checked: Checked


def find_columns(face: Face, color: Color) -> Columns:
    """
    Return the columns of the level tables that a colour of a face may fall under.

    Parameters
    ----------
    face : Face
        As it is recorded; a colour without an area has sheeting that is not known.
    color : Color
        The colour that is judged.

    Returns
    -------
    Columns
        One to four columns.

    Raises
    ------
    NoPublishedValueError
        If the tables have no column for the recorded type with its optics.
    OutOfRangeError
        If the recorded sheeting is no type of ASTM D4956.

    Examples
    --------
    >>> find_columns(Face(None), Color.RED).unknown
    'sheeting not known'
    """
    areas = [area for area in face.areas if area.color is color]
    found: dict[SheetingClass, None] = {}
    unknown = set()
    marks = [Checked.YES]
    for area in areas or [FaceArea(Part.BACKGROUND, color)]:
        sheeting_type, optics = sheeting_under(face, area)
        classes = sheeting_classes(sheeting_type or None, optics)
        found.update(dict.fromkeys(classes))
        if sheeting_type:
            marks.append(find_sheeting_type(sheeting_type).checked)
        if len(classes) > 1:
            unknown.add("sheeting not known" if not sheeting_type else "optics not known")
    if len(found) > 1 and not unknown:
        unknown.add("which of two sheetings was read not known")
    return Columns(tuple(found), " and ".join(sorted(unknown, reverse=True)), weakest(*marks))


def sheeting_under(face: Face, area: FaceArea) -> tuple[str, Optics]:
    """
    Return the type and optics of an area; a print or film has those of what it lies on.

    Parameters
    ----------
    face : Face
        The face with all its areas.
    area : FaceArea
        One of them.

    Examples
    --------
    >>> from inventory.engineering.assessment.face import Colouring
    >>> white = FaceArea(Part.LEGEND, Color.WHITE, "IX", Optics.PRISMATIC, Colouring.SHEETING)
    >>> red = FaceArea(Part.BACKGROUND, Color.RED, colouring=Colouring.PRINTED_SPOT)
    >>> sheeting_under(Face(None, (red, white)), red)[0]
    'IX'
    """
    if area.sheeting_type or not area.colouring.lies_on_sheeting:
        return area.sheeting_type, area.optics
    under = {
        (other.sheeting_type, other.optics)
        for other in face.areas
        if other.sheeting_type and not other.colouring.lies_on_sheeting
    }
    return under.pop() if len(under) == 1 else ("", area.optics)
