"""An invented agency with signs that were read, made many rows at a time."""

from __future__ import annotations

import uuid
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from inventory.models import (
    ColourArea,
    Inspection,
    Organisation,
    Position,
    Reading,
    ReadingSet,
    Sign,
    Support,
)
from inventory.services.people import create_organisation, set_policy

if TYPE_CHECKING:
    import random
    from collections.abc import Sequence

Kind = tuple[str, tuple[tuple[str, str], ...]]

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
STOP: Kind = ("R1-1", (("background", "red"), ("legend", "white")))
YIELD: Kind = ("R1-2", (("background", "red"), ("legend", "white")))
STREET_NAME: Kind = ("D3-1", (("background", "green"), ("legend", "white")))
TURN: Kind = ("W1-2", (("background", "yellow"), ("legend", "black")))
ROUGH_ROAD: Kind = ("W8-8", (("background", "yellow"), ("legend", "black")))
SPEED_LIMIT: Kind = ("R2-1", (("background", "white"), ("legend", "black")))


def make_fleet(
    name: str,
    kinds: Sequence[Kind],
    dice: random.Random,
    *,
    signs: int,
    visits: int,
    now: datetime = NOW,
) -> Organisation:
    """Make an agency with signs of several kinds in turn, each read on several visits."""
    agency = create_organisation(name=name, kind=Organisation.Kind.AGENCY)
    set_rules(agency)
    supports = Support.objects.bulk_create(
        Support(organisation=agency, latitude_deg=43.0, longitude_deg=-89.5, cell=number)
        for number in range(signs)
    )
    kind_of = [kinds[number % len(kinds)] for number in range(signs)]
    positions = Position.objects.bulk_create(
        Position(organisation=agency, support=support, sign_code=code, mount="post")
        for support, (code, _) in zip(supports, kind_of, strict=True)
    )
    faces = Sign.objects.bulk_create(
        Sign(
            owner=agency,
            state=Sign.State.INSTALLED,
            position=position,
            sign_code=position.sign_code,
            width_in=30.0,
            height_in=30.0,
        )
        for position in positions
    )
    ColourArea.objects.bulk_create(
        ColourArea(
            sign=sign,
            number=number,
            part=part,
            color=color,
            sheeting_type="IX",
            optics="prismatic",
            colouring="sheeting",
        )
        for sign, (_, colours) in zip(faces, kind_of, strict=True)
        for number, (part, color) in enumerate(colours, start=1)
    )
    _read(agency, faces, kind_of, dice, visits, now)
    return agency


def set_rules(agency: Organisation) -> None:
    """Set rules of a new version, so that every sign has to be judged anew."""
    set_policy(
        agency=agency,
        effective_on=date(2020, 1, 1),
        edition="11th-2023",
        basis="for the benchmark",
        now=NOW,
    )


def _read(
    agency: Organisation,
    signs: Sequence[Sign],
    kind_of: Sequence[Kind],
    dice: random.Random,
    visits: int,
    now: datetime,
) -> None:
    inspections = Inspection.objects.bulk_create(
        Inspection(
            organisation=agency,
            client_uuid=uuid.UUID(int=dice.getrandbits(128)),
            sign=sign,
            taken_at=now - timedelta(days=400 * visit + 1),
            recorded_at=now,
            how="hand_held",
            surface_state="dry",
        )
        for sign in signs
        for visit in range(visits)
    )
    colours_of = {sign.pk: kind[1] for sign, kind in zip(signs, kind_of, strict=True)}
    sets = ReadingSet.objects.bulk_create(
        ReadingSet(
            inspection=inspection,
            number=number,
            color=color,
            observation_angle_deg=Decimal("0.2"),
            entrance_angle_deg=Decimal("-4"),
        )
        for inspection in inspections
        for number, (_, color) in enumerate(colours_of[inspection.sign_id], start=1)
        if color != "black"
    )
    values = [f"{dice.uniform(3, 250):.1f}" for _ in range(1000)]
    Reading.objects.bulk_create(_readings(sets, values, dice))


def _readings(sets: Sequence[ReadingSet], values: Sequence[str], dice: random.Random) -> Any:
    return (
        Reading(reading_set=one, number=number, typed=typed, ra_cd_lx_m2=Decimal(typed))
        for one in sets
        for number in range(1, 5)
        for typed in (dice.choice(values),)
    )
