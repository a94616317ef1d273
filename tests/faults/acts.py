"""What crews record on their phones, good and bad, on their own and each other's signs."""

from __future__ import annotations

import json
import uuid
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from tests.faults.outbox import Recorded

if TYPE_CHECKING:
    from random import Random

ANGLES = {
    "observation_angle_deg": "0.2",
    "entrance_angle_deg": "-4.0",
    "rotation_angle_deg": None,
}
CHECKED = {"moment": "before", "reference_ra_cd_lx_m2": "80.0"}


@dataclass(slots=True)
class Crew:
    """One phone with the person on it, and the world it knows; its clock may be far out."""

    random: Random
    world: dict[str, Any]
    user_id: int
    skew: timedelta
    counted: int = 0
    sequence: int = field(default=0)

    def draw(self) -> list[Recorded]:
        """Return the next thing the crew does: one operation, or several that hang together."""
        kind = self.random.randrange(100)
        if kind < 62:
            return [self.record_reading()]
        if kind < 67:
            return [self._record("inspection", self._bad_reading())]
        if kind < 72:
            return [self.record_check()]
        if kind < 77:
            return [self._record("flag_record", self._flag())]
        if kind < 83:
            return self._unknown_sign()
        if kind < 88:
            return [self._record("move_support", self._move())]
        if kind < 92:
            return [self._record("remove", self._removal())]
        if kind < 95:
            return [self._record("install", self._installation())]
        return [self._record("inspection", self._note())]

    def record_reading(self) -> Recorded:
        """Return readings of a sign that is on record."""
        return self._record("inspection", self._reading(self._sign()))

    def record_check(self) -> Recorded:
        """Return a check of an instrument."""
        return self._record("check", self._check())

    def settle(self, refused: Recorded) -> Recorded:
        """Return what a person does about a refused one: correct it, or drop it."""
        if refused.kind == "inspection" and self.random.random() < 0.5:
            payload = self._reading(self._sign())
            return self._record("inspection", payload, replaces=refused.client_uuid)
        reason = "Recorded twice by mistake."
        payload = {"operation": refused.client_uuid, "reason": reason}
        return self._record("discard", payload)

    def now(self) -> datetime:
        """Return what the phone's clock shows."""
        return datetime.now(UTC) + self.skew

    def _record(
        self, kind: str, payload: dict[str, Any], needs: tuple[str, ...] = (), **more: Any
    ) -> Recorded:
        self.sequence += 1
        self.counted += 1
        client_uuid = str(uuid.UUID(int=self.random.getrandbits(128), version=4))
        content = {
            "client_uuid": client_uuid,
            "sequence": self.sequence,
            "kind": kind,
            "device_at": self.now().isoformat(),
            "device_offset_minutes": -360,
            "user_id": self.user_id,
            "app_version": "for tests",
            "base_version": "",
            "needs": list(needs),
            "replaces": None,
            "identified": {
                "by": "nearest",
                "latitude_deg": 43.0,
                "longitude_deg": -89.5,
                "accuracy_m": 6.5,
                "candidate_count": self.random.randint(1, 4),
            },
            "photos": [],
            "payload": payload,
        }
        return Recorded(client_uuid, self.sequence, kind, json.dumps(content | more))

    def _sign(self) -> dict[str, Any]:
        return {"id": self.random.choice(self.world["signs"])["sign_id"]}

    def _reading(self, sign: dict[str, Any]) -> dict[str, Any]:
        return {
            "sign": sign,
            "how": "hand_held",
            "surface_state": self.random.choice(("dry", "dirty", "dew", "")),
            "instrument_id": self.random.choice([None, *self.world["instruments"]]),
            "note": self.random.choice(("", "Bent at the lower edge.")),
            "reading_sets": [
                {"color": "white", "values": self._values(30_000, 90_000)} | ANGLES,
                {"color": "red", "values": self._values(5_000, 25_000)} | ANGLES,
            ],
            "observations": [],
            "visual_rating": None,
            "corrects": None,
            "is_confirmed": True,
            "shown": None,
        }

    def _values(self, low: int, high: int) -> list[str]:
        around = self.random.randint(low, high)
        return [
            f"{around * self.random.uniform(0.97, 1.03) / 1000:.3f}"
            for _ in range(self.random.choice((1, 4, 4, 4)))
        ]

    def _bad_reading(self) -> dict[str, Any]:
        payload = self._reading(self._sign())
        wrong = self.random.randrange(3)
        if wrong == 0:
            payload["reading_sets"][0]["values"] = ["2500"]
        elif wrong == 1:
            payload["reading_sets"][1]["values"] = ["12,5"]
        else:
            payload["sign"] = {"id": 999_999_999}
        return payload

    def _note(self) -> dict[str, Any]:
        note = f"Seen in passing, {self.random.randint(1, 9)} of 9."
        payload = self._reading(self._sign()) | {"how": "visual_day", "note": note}
        return payload | {"reading_sets": [], "instrument_id": None}

    def _check(self) -> dict[str, Any]:
        shown = f"{80 * self.random.uniform(0.97, 1.03):.1f}"
        instrument = self.random.choice(self.world["instruments"])
        return CHECKED | {"instrument_id": instrument, "shown_ra_cd_lx_m2": shown}

    def _flag(self) -> dict[str, Any]:
        said = f"It says {self.random.randint(25, 65)} here."
        return {"sign": self._sign(), "field": "code", "said": said}

    def _unknown_sign(self) -> list[Recorded]:
        """A sign nobody knew, and readings of it that need it."""
        support: dict[str, Any] = {"id": self.random.choice(self.world["signs"])["support_id"]}
        if self.random.random() < 0.5:
            support = {
                "new": {
                    "latitude_deg": 43.0 + self.random.uniform(0.0, 0.2),
                    "longitude_deg": -89.5 + self.random.uniform(0.0, 0.2),
                    "accuracy_m": 8.0,
                }
            }
        made = self._record(
            "add_sign",
            {
                "support": support,
                "sign_code": "R1-1",
                "width_in": 30.0,
                "height_in": 30.0,
                "mount": "post",
                "facing_deg": float(self.random.randrange(360)),
                "colours": [
                    {"part": "background", "color": "red"},
                    {"part": "legend", "color": "white"},
                ],
            },
        )
        reference = {"operation": made.client_uuid}
        read = [
            self._record("inspection", self._reading(reference), needs=(made.client_uuid,))
            for _ in range(self.random.randint(0, 2))
        ]
        return [made, *read]

    def _move(self) -> dict[str, Any]:
        place = self.random.choice(self.world["signs"])
        return {
            "support": {"id": place["support_id"]},
            "latitude_deg": place["latitude_deg"] + self.random.uniform(-0.0002, 0.0002),
            "longitude_deg": place["longitude_deg"] + self.random.uniform(-0.0002, 0.0002),
            "accuracy_m": 3.0,
            "reason": "It stands on the other side of the drive.",
        }

    def _removal(self) -> dict[str, Any]:
        return {
            "sign": self._sign(),
            "removed_on": self._today(),
            "reason": "damaged",
            "note": "",
        }

    def _installation(self) -> dict[str, Any]:
        place = self.random.choice(self.world["signs"])
        return {
            "position": {"id": place["position_id"]},
            "face": {"id": self.random.choice(self.world["stock"])},
            "installed_on": self._today(),
            "replaces": {"id": place["sign_id"]},
            "removal_reason": "damaged",
            "removed_note": "",
        }

    def _today(self) -> str:
        """Return the phone's day, six hours behind as its offset says."""
        return (self.now() - timedelta(hours=6)).date().isoformat()
