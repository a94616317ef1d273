"""What a person sends with an inspection, and what is understood of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from inventory.engineering.inspection.readings import (
    decimal_words,
    looks_swapped,
    parse_reading,
    reduce_readings,
)
from inventory.engineering.inspection.usability import check_geometry, geometry_words
from inventory.engineering.standards.vocabulary import Color
from inventory.errors import OutOfRangeError

if TYPE_CHECKING:
    import uuid
    from collections.abc import Mapping, Sequence
    from datetime import datetime

    from inventory.models import Instrument, User

MAXIMUM_READINGS_PER_SET = 100
_MINUS_SIGN = "−"


@dataclass(frozen=True)
class ReadingSetInput:
    """The values of one colour as they were typed, with the angles the instrument reads at."""

    color: str
    values: Sequence[str]
    observation_angle_deg: str | Decimal = "0.2"
    entrance_angle_deg: str | Decimal = "-4.0"
    rotation_angle_deg: str | Decimal | None = None
    places_on_face: Sequence[str] = ()


@dataclass(frozen=True)
class ObservationInput:
    """Something seen by eye."""

    kind: str
    severity: int
    note: str = ""


@dataclass(frozen=True)
class VisualRatingInput:
    """A trained inspector's judgement at night, with the evidence its procedure asks for."""

    procedure: str
    is_adequate: bool
    evidence: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class PhotoInput:
    """A picture as it was sent."""

    content: bytes
    caption: str = ""
    taken_at: datetime | None = None
    client_uuid: uuid.UUID | None = None
    is_drawn: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """
    One visit to a sign as it was sent; ``corrects_id`` is the inspection it puts right.

    Photos are no part of it: they come apart, and are added to the stored inspection. With
    ``are_photos_coming``, a visit that says nothing else says something.
    """

    sign_id: int
    taken_at: datetime
    how: str
    client_uuid: uuid.UUID
    inspector: User | None = None
    surface_state: str = ""
    instrument_id: int | None = None
    reading_sets: Sequence[ReadingSetInput] = ()
    observations: Sequence[ObservationInput] = ()
    visual_rating: VisualRatingInput | None = None
    note: str = ""
    device_offset_minutes: int = 0
    corrects_id: int | None = None
    is_confirmed: bool = False
    are_photos_coming: bool = False


@dataclass(frozen=True)
class UnderstoodSet:
    """A reading set that was understood."""

    color: Color
    typed: tuple[str, ...]
    values: tuple[Decimal, ...]
    observation_angle_deg: Decimal
    entrance_angle_deg: Decimal
    rotation_angle_deg: Decimal | None
    places_on_face: tuple[str, ...]


def understand(given: ReadingSetInput) -> UnderstoodSet:
    """Return a reading set with its words and figures understood, or say what is wrong."""
    try:
        color = Color(given.color)
    except ValueError:
        colors = ", ".join(each.value for each in Color if each is not Color.BLACK)
        msg = f"'{given.color}' is not a colour that is read; use one of {colors}."
        raise OutOfRangeError(msg) from None
    if color is Color.BLACK:
        msg = "Black returns no light and has no level; leave its readings out."
        raise OutOfRangeError(msg)
    if not given.values:
        msg = (
            f"No value was typed for {color.words}; type at least one or leave the colour out."
        )
        raise OutOfRangeError(msg)
    if len(given.values) > MAXIMUM_READINGS_PER_SET:
        msg = (
            f"{len(given.values)} values were sent for {color.words}; at most "
            f"{MAXIMUM_READINGS_PER_SET} are kept in one set."
        )
        raise OutOfRangeError(msg)
    typed = tuple(str(value).strip() for value in given.values)
    places = tuple(place.strip() for place in given.places_on_face)
    if places and len(places) != len(typed):
        msg = (
            f"{len(typed)} values of {color.words} came with {len(places)} places on the face; "
            "name a place for each value or for none."
        )
        raise OutOfRangeError(msg)
    observation = parse_angle(given.observation_angle_deg, "observation angle")
    entrance = parse_angle(given.entrance_angle_deg, "entrance angle")
    rotation = (
        None
        if given.rotation_angle_deg is None
        else parse_angle(given.rotation_angle_deg, "rotation angle")
    )
    check_geometry(observation, entrance, rotation)
    values = tuple(_value(text, color) for text in typed)
    return UnderstoodSet(color, typed, values, observation, entrance, rotation, places)


def find_unlikely(sets: Sequence[UnderstoodSet], instrument: Instrument | None) -> list[str]:
    """Return what of the readings is more often a slip than true, a sentence each."""
    said = [] if instrument is None else _other_angles(sets, instrument)
    by_geometry: dict[tuple[Decimal, Decimal], dict[Color, list[Decimal]]] = {}
    for each in sets:
        geometry = (each.observation_angle_deg, each.entrance_angle_deg)
        by_geometry.setdefault(geometry, {}).setdefault(each.color, []).extend(each.values)
    for read in by_geometry.values():
        if Color.WHITE in read and Color.RED in read:
            white = reduce_readings(read[Color.WHITE]).mean
            red = reduce_readings(read[Color.RED]).mean
            if looks_swapped(white, red):
                said.append(
                    f"White reads {decimal_words(white)} cd/lx/m² on average, below the red of "
                    f"the same face ({decimal_words(red)}), though white returns several times "
                    "the light of red; correct them if they were typed as each other."
                )
    return said


def _other_angles(sets: Sequence[UnderstoodSet], instrument: Instrument) -> list[str]:
    own = (instrument.observation_angle_deg, instrument.entrance_angle_deg)
    others = {
        (each.observation_angle_deg, each.entrance_angle_deg): each
        for each in sets
        if (each.observation_angle_deg, each.entrance_angle_deg) != own
    }
    return [
        f"Instrument {instrument.serial} reads at {geometry_words(*own)}, but the "
        f"{each.color.words} is said to be read at {geometry_words(*other)}; correct the "
        "angles or the instrument."
        for other, each in others.items()
    ]


def _value(typed: str, color: Color) -> Decimal:
    try:
        return parse_reading(typed)
    except OutOfRangeError as error:
        msg = f"{color.words.capitalize()}: {error}"
        raise OutOfRangeError(msg) from error


def parse_angle(given: str | Decimal, name: str) -> Decimal:
    """Return a typed angle to two places, as it is stored."""
    text = str(given).strip().replace(_MINUS_SIGN, "-")
    try:
        angle = Decimal(text)
        stored = angle.quantize(Decimal("0.01"))
    except InvalidOperation:
        angle = stored = Decimal("NaN")
    if not angle.is_finite():
        msg = f"'{text}' is not an angle ({name}); write it in figures, such as 0.2 or -4.0."
        raise OutOfRangeError(msg)
    if stored != angle:
        msg = f"The {name} {text}° has more than two decimals; round it as the instrument does."
        raise OutOfRangeError(msg)
    return stored
