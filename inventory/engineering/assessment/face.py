"""What is judged: a face, what was read on it, and the rules of its agency."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from enum import StrEnum

from inventory.engineering.inspection.usability import (
    JUDGED_ENTRANCE_ANGLE_DEG,
    JUDGED_OBSERVATION_ANGLE_DEG,
    reason_not_judged,
)
from inventory.engineering.inspection.vocabulary import How, SurfaceState
from inventory.engineering.standards.catalogue import SignType
from inventory.engineering.standards.vocabulary import (
    Color,
    Edition,
    ExclusionKey,
    MountClass,
    Optics,
)


class Part(StrEnum):
    """What a colour of a face is there for."""

    BACKGROUND = "background"
    LEGEND = "legend"
    SECONDARY = "secondary"


class Colouring(StrEnum):
    """What makes a colour; empty when it is not known."""

    UNKNOWN = ""
    SHEETING = "sheeting"
    PRINTED_SPOT = "printed_spot"
    PRINTED_MIXED = "printed_mixed"
    FILM = "film"
    OPAQUE = "opaque"

    @property
    def lies_on_sheeting(self) -> bool:
        """Return whether light passes through the colour to sheeting beneath it."""
        return self in (Colouring.PRINTED_SPOT, Colouring.PRINTED_MIXED, Colouring.FILM)


@dataclass(frozen=True, slots=True)
class FaceArea:
    """One colour of a face; what is not known is ``None`` or empty, never a guess."""

    part: Part
    color: Color | None
    sheeting_type: str = ""
    optics: Optics = Optics.UNKNOWN
    colouring: Colouring = Colouring.UNKNOWN

    @property
    def is_retroreflective(self) -> bool:
        """Return whether the colour can send headlight back: black and opaque ones do not."""
        return self.color is not Color.BLACK and self.colouring is not Colouring.OPAQUE


@dataclass(frozen=True, slots=True)
class Face:
    """
    One face as it is recorded.

    ``sign_type`` is ``None`` when the code is not known or means nothing; sizes are in inches;
    ``mount`` is ``None`` when it is not known.
    """

    sign_type: SignType | None
    areas: tuple[FaceArea, ...] = ()
    mount: MountClass | None = None
    width_in: Decimal | None = None
    height_in: Decimal | None = None


@dataclass(frozen=True, slots=True)
class ReadingSet:
    """
    The values of one colour read at one geometry on one visit, R_A in cd/lx/m².

    ``visit`` tells visits apart and orders those of one moment; a stored inspection's number.
    ``doubt`` says what is held against the readings of the visit; they are not judged while it
    is not empty.
    """

    color: Color
    values: tuple[Decimal, ...]
    taken_at: datetime
    visit: int
    how: How = How.HAND_HELD
    surface_state: SurfaceState = SurfaceState.UNKNOWN
    observation_angle_deg: Decimal = JUDGED_OBSERVATION_ANGLE_DEG
    entrance_angle_deg: Decimal = JUDGED_ENTRANCE_ANGLE_DEG
    doubt: str = ""

    @property
    def reason_not_judged(self) -> str:
        """Return why these readings are shown but not judged; empty when they are judged."""
        if not self.values:
            return "no value was typed"
        return reason_not_judged(
            how=self.how,
            surface_state=self.surface_state,
            observation_angle_deg=self.observation_angle_deg,
            entrance_angle_deg=self.entrance_angle_deg,
            doubt=self.doubt,
        )


@dataclass(frozen=True, slots=True)
class Rules:
    """What an agency judges by: its edition and its choices."""

    edition: Edition
    uses_recommended_levels: bool = False
    excluded_groups: frozenset[ExclusionKey] = field(default_factory=frozenset)


def select_readings(sets: Iterable[ReadingSet]) -> tuple[ReadingSet, ...]:
    """
    Return what decides: per colour the newest usable visit, and newer sets that are not usable.

    Judging the selection gives what judging everything ever read would give; the newer
    unusable sets are kept because the reason names them.

    Parameters
    ----------
    sets : iterable of ReadingSet
        Everything read on one face, in any order.

    Returns
    -------
    tuple of ReadingSet
        In order of colour, then newest first.

    Examples
    --------
    >>> from datetime import UTC
    >>> first, second = datetime(2024, 5, 1, tzinfo=UTC), datetime(2026, 5, 1, tzinfo=UTC)
    >>> old = ReadingSet(Color.RED, (Decimal("12"),), first, 1)
    >>> new = ReadingSet(Color.RED, (Decimal("9"),), second, 2)
    >>> [one.visit for one in select_readings([old, new])]
    [2]
    """
    of_color: dict[Color, list[ReadingSet]] = {}
    for each in sets:
        of_color.setdefault(each.color, []).append(each)
    chosen: list[ReadingSet] = []
    for color in sorted(of_color):
        judged_visit: tuple[datetime, int] | None = None
        for each in sorted(of_color[color], key=_newest_first, reverse=True):
            visit = (each.taken_at, each.visit)
            if judged_visit is not None and visit != judged_visit:
                break
            if not each.reason_not_judged:
                judged_visit = visit
            chosen.append(each)
    return tuple(chosen)


def _newest_first(each: ReadingSet) -> tuple[object, ...]:
    """Return a total order in which the newest visit, and its usable sets, come last."""
    return (
        each.taken_at,
        each.visit,
        not each.reason_not_judged,
        each.observation_angle_deg,
        each.entrance_angle_deg,
        each.values,
    )
