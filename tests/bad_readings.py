"""Readings that cannot be, or hardly: one table for the page, the API and the list alike."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

WHITE = ("60", "61", "59", "60")
RED = ("12", "12", "12.5", "11.5")


@dataclass(frozen=True)
class BadReadings:
    """A visit to a Stop sign that is refused, and words of the sentence it is refused with."""

    name: str
    words: str
    white: tuple[str, ...] = WHITE
    red: tuple[str, ...] = RED
    observation_angle_deg: str = "0.2"
    entrance_angle_deg: str = "-4.0"
    hours_ahead: int = 0
    is_instrument_unknown: bool = False
    is_unlikely: bool = False
    words_of_channel: dict[str, str] = field(default_factory=dict)

    def words_on(self, channel: str) -> str:
        return self.words_of_channel.get(channel, self.words)


BAD_READINGS = (
    BadReadings(
        "negative",
        "The reading -40 cd/lx/m² is negative; a face cannot return less than no light",
        white=("-40", "41", "40", "40"),
    ),
    BadReadings(
        "absurd",
        "White: The reading 2000.1 cd/lx/m² is over 2000, more than any sign sheeting returns",
        white=("2000.1", "41", "40", "40"),
    ),
    BadReadings("a word", "'forty' is not a number", white=("forty",)),
    BadReadings("a comma", "'40,5' is not a number", white=("40,5",)),
    BadReadings(
        "swapped",
        "White reads 12 cd/lx/m² on average, below the red of the same face (60)",
        white=RED,
        red=WHITE,
        is_unlikely=True,
    ),
    BadReadings(
        "no instrument's geometry",
        "Observation angle 20.00° is no sign instrument's",
        observation_angle_deg="20",
    ),
    BadReadings(
        "another instrument's geometry",
        "reads at 0.2°/−4.0°, but the",
        observation_angle_deg="0.5",
        is_unlikely=True,
    ),
    BadReadings("no geometry", "'steep' is not an angle", entrance_angle_deg="steep"),
    BadReadings("to come", "which is still to come", hours_ahead=48),
    BadReadings(
        "unknown instrument",
        "instrument",
        is_instrument_unknown=True,
        words_of_channel={
            "form": "not in your agency&#x27;s register; pick one of the list",
            "api": "There is no instrument 999999 among those you may use",
            "import": "There is no instrument 'XX-0' in the register of",
        },
    ),
)

NAMES = [each.name for each in BAD_READINGS]


def visit_for_api(bad: BadReadings, sign_id: int, instrument_id: int, taken_at: str) -> Any:
    """Return a visit as a phone sends it."""
    angles = {
        "observation_angle_deg": bad.observation_angle_deg,
        "entrance_angle_deg": bad.entrance_angle_deg,
    }
    return {
        "sign_id": sign_id,
        "taken_at": taken_at,
        "how": "hand_held",
        "surface_state": "dry",
        "instrument_id": 999999 if bad.is_instrument_unknown else instrument_id,
        "reading_sets": [
            {"color": "white", "values": list(bad.white), **angles},
            {"color": "red", "values": list(bad.red), **angles},
        ],
    }
