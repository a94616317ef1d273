"""What makes each colour of a printed face, as far as the press log tells."""

from collections.abc import Collection
from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True)
class LoggedInks:
    """
    What a press log says of the inks of a run.

    ``spot_colors`` had an ink of their own through the whole of it. ``is_complete``: the ink
    of each channel in use is on record; ``is_process_only``: inks are, all for mixing, and no
    channel for a spot colour is without one.
    """

    spot_colors: frozenset[str]
    is_complete: bool
    is_process_only: bool

    def rules_out_spot(self, color: str) -> bool:
        """Return whether by the log no ink of this colour of its own was on."""
        return color not in self.spot_colors and (self.is_complete or self.is_process_only)


def contradicts_log(color: str, built_as: str, base_color: str, inks: LoggedInks) -> bool:
    """
    Return whether the press log shows that a colour was not made as its build says.

    Film and opaque ink are not in the log, so nothing there contradicts them; nor a mixed ink.

    Parameters
    ----------
    color : str
        The colour of the face.
    built_as : str
        What is to make it by the build.
    base_color : str
        The colour of the sheeting that was on.
    inks : LoggedInks
        What the log says of the inks.

    Examples
    --------
    >>> process = LoggedInks(frozenset(), is_complete=False, is_process_only=True)
    >>> contradicts_log("red", "printed_spot", "white", process)
    True
    >>> contradicts_log("red", "film", "white", process)
    False
    """
    if built_as == Colouring.SHEETING:
        return color != base_color
    if built_as == Colouring.PRINTED_SPOT:
        return color == base_color or inks.rules_out_spot(color)
    return built_as == Colouring.PRINTED_MIXED and color == base_color


def colouring_as_built(
    color: str, base_color: str, inks: LoggedInks, built_as: str = ""
) -> Colouring:
    """
    Return what makes one colour of a printed face: as built, unless the log says otherwise.

    Parameters
    ----------
    color : str
        The colour of the face.
    base_color : str
        The colour of the sheeting it was printed on.
    inks : LoggedInks
        What the log says of the inks.
    built_as : str
        What is to make it by the build; empty where the build does not say.

    References
    ----------
    .. [1] Common practice, no source.

    Examples
    --------
    >>> silent = LoggedInks(frozenset(), is_complete=False, is_process_only=False)
    >>> colouring_as_built("green", "white", silent, "printed_mixed").value
    'printed_mixed'
    >>> colouring_as_built("green", "white", silent).value
    ''
    """
    if not built_as or contradicts_log(color, built_as, base_color, inks):
        return colouring_of(color, base_color, inks.spot_colors)
    return Colouring(built_as)
