"""What makes each colour of a printed face, as far as the press log tells."""

from collections.abc import Collection
from enum import StrEnum

from inventory.engineering.standards.vocabulary import Color


class Colouring(StrEnum):
    """What makes a colour of a face; empty when it is not known."""

    UNKNOWN = ""
    SHEETING = "sheeting"
    PRINTED_SPOT = "printed_spot"
    PRINTED_MIXED = "printed_mixed"
    FILM = "film"
    OPAQUE = "opaque"


def colouring_of(color: str, base_color: str, spot_ink_colors: Collection[str]) -> Colouring:
    """
    Return what makes one colour of a face that was printed on a base sheeting.

    A colour that is neither the sheeting's nor in a container on the press may have been mixed
    from several inks or laid on as film; the press log does not tell, so it stays not known.

    Parameters
    ----------
    color : str
        The colour of the face.
    base_color : str
        The colour of the sheeting it was printed on.
    spot_ink_colors : collection of str
        The colours of the inks that were loaded during the whole of the run.

    References
    ----------
    .. [1] Common practice, no source: black is printed opaque; a colour whose own ink is on
       the press is printed with it.

    Examples
    --------
    >>> colouring_of("white", "white", {"red"}).value
    'sheeting'
    >>> colouring_of("red", "white", {"red"}).value
    'printed_spot'
    >>> colouring_of("green", "white", {"red"}).value
    ''
    """
    if color == base_color:
        return Colouring.SHEETING
    if color == Color.BLACK:
        return Colouring.OPAQUE
    if color in spot_ink_colors:
        return Colouring.PRINTED_SPOT
    return Colouring.UNKNOWN
