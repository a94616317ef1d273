"""What is judged: a face, what was read on it, and the rules of its agency."""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum

from inventory.engineering.assessment.decision import SIMPLE_ACCEPTANCE, DecisionRule
from inventory.engineering.inspection.instrument_uncertainty import (
    ASSUMED_UNCERTAINTY,
    InstrumentUncertainty,
)
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

    def has_part(self, part: Part) -> bool:
        """Return whether a part of the face is on record."""
        return any(area.part is part for area in self.areas)

    @property
    def background(self) -> Color | None:
        """Return the background's colour; one not on record is the catalogued sign's."""
        if self.has_part(Part.BACKGROUND) or self.sign_type is None:
            return self._color_of(Part.BACKGROUND)
        return self.sign_type.background

    @property
    def legend(self) -> Color | None:
        """Return the legend's colour; one not on record is the catalogued sign's."""
        if self.has_part(Part.LEGEND) or self.sign_type is None:
            return self._color_of(Part.LEGEND)
        return self.sign_type.legend

    def _color_of(self, part: Part) -> Color | None:
        return next((area.color for area in self.areas if area.part is part), None)


@dataclass(frozen=True, slots=True)
class ReadingSet:
    """
    The values of one colour read at one geometry on one visit, R_A in cd/lx/m².

    ``visit`` tells visits apart and orders those of one moment; a stored inspection's number.
    ``doubt`` says what is held against the readings of the visit; they are not judged while it
    is not empty. ``instrument`` tells instruments apart; ``None`` when it was not recorded.
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
    instrument: int | None = None

    @property
    def session(self) -> tuple[int, date] | None:
        """Return which instrument read on which day; ``None`` when that is not known."""
        if self.instrument is None:
            return None
        return self.instrument, self.taken_at.date()

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
class OwnLevel:
    """A level an agency set itself for one colour of a pair that no table has a row for."""

    background: Color
    legend: Color
    color: Color
    minimum_ra_cd_lx_m2: Decimal
    basis: str
    approved_by: str
    approved_on: date
    effective_on: date


@dataclass(frozen=True, slots=True)
class Rules:
    """
    What an agency judges by: its edition and its choices.

    ``fluorescent_yellow_basis`` and ``fluorescent_orange_basis`` say why these colours are
    judged by the yellow and the orange row; empty while the agency has not decided.
    ``own_levels`` are those in force.
    """

    edition: Edition
    uses_recommended_levels: bool = False
    excluded_groups: frozenset[ExclusionKey] = field(default_factory=frozenset)
    decision_rule: DecisionRule = SIMPLE_ACCEPTANCE
    uncertainty: InstrumentUncertainty = ASSUMED_UNCERTAINTY
    fluorescent_yellow_basis: str = ""
    fluorescent_orange_basis: str = ""
    own_levels: tuple[OwnLevel, ...] = ()

    def fluorescent_basis(self, color: Color) -> str | None:
        """Return why a colour is judged by its plain row; ``None`` where that is no choice."""
        if color is Color.FLUORESCENT_YELLOW:
            return self.fluorescent_yellow_basis
        if color is Color.FLUORESCENT_ORANGE:
            return self.fluorescent_orange_basis
        return None

    def narrowed_to(self, face: Face) -> "Rules":
        """Return the same rules with the own levels of the face's colours only."""
        if not self.own_levels:
            return self
        pair = (face.background, face.legend)
        kept = tuple(each for each in self.own_levels if (each.background, each.legend) == pair)
        return replace(self, own_levels=kept)


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
        each.instrument or 0,
    )
