"""Whether a base sheeting can give the colours of a face."""

from collections.abc import Collection, Iterable

from inventory.engineering.ordering.sheeting import is_fluorescent
from inventory.engineering.standards.vocabulary import Color


def why_base_does_not_fit(
    base: Color,
    colors: Iterable[Color],
    *,
    laid_on: Collection[Color] = (),
    is_whole_face: bool = True,
) -> str:
    """
    Return why a base sheeting cannot give the colours of a face; empty where it can.

    Parameters
    ----------
    base : Color
        The colour of the base sheeting.
    colors : iterable of Color
        The colours of the face.
    laid_on : collection of Color
        Those of them that are film or opaque, so that the base need not shine through.
    is_whole_face : bool
        Whether these are all colours of the face: a base of another colour than white is
        then one of them.

    References
    ----------
    .. [1] Common practice, no source.

    Examples
    --------
    >>> why_base_does_not_fit(Color.YELLOW, [Color.YELLOW, Color.BLACK])
    ''
    >>> why_base_does_not_fit(Color.WHITE, [Color.FLUORESCENT_YELLOW])
    'The fluorescent yellow of a face needs base sheeting of that colour, not white (common \
practice, no source).'
    """
    of_face = list(colors)
    for color in of_face:
        if is_fluorescent(color) and color is not base:
            return (
                f"The {color.words} of a face needs base sheeting of that colour, not "
                f"{base.words} (common practice, no source)."
            )
    if base is Color.WHITE:
        return ""
    if Color.WHITE in of_face and Color.WHITE not in laid_on:
        return (
            f"White that returns light cannot be printed on {base.words} sheeting (common "
            "practice, no source)."
        )
    if is_whole_face and base not in of_face:
        return (
            f"No colour of the face is {base.words}: a base sheeting that is not white is one "
            "of its colours (common practice, no source)."
        )
    return ""
