"""
How long a server needs to give a phone 5,000 signs to take along, packed as they are sent.

The peer is the plain read of the stored rows that the answer rests on, page by page, packed
the same way: no levels looked up, no faces drawn, nothing put together. No outside program is
timed.
"""

from __future__ import annotations

import gzip
import random
import time
from typing import TYPE_CHECKING, Any

import orjson
from django.db import connection
from django.utils import timezone

from inventory.engineering.places import cell_of
from inventory.models import (
    ColourArea,
    ElementAssessment,
    Inspection,
    Observation,
    Photo,
    Position,
    Reading,
    ReadingSet,
    Sign,
    Standing,
    Support,
)
from inventory.services.assessment import assess_signs, mark_due
from inventory.services.field.area import carry_page, supports_in_box
from inventory.services.sign_map import Box
from tests.bench.database import temporary_database
from tests.bench.fleet import ROUGH_ROAD, SPEED_LIMIT, STOP, STREET_NAME, TURN, make_fleet
from tests.bench.rows import Row

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from inventory.models import Organisation

SIGNS = 5_000
ROUNDS = 3
AIM_S = 5.0
SEED = 20261125
KINDS = (STOP, STREET_NAME, TURN, ROUGH_ROAD, SPEED_LIMIT)
BOX = Box(42.9, -89.7, 43.2, -89.3)


def run() -> list[Row]:
    """Return the figure on the database of the settings."""
    now = timezone.now()
    with temporary_database():
        agency = _agency(now)
        ours = [_timed(lambda: _ours(agency, now)) for _ in range(ROUNDS)]
        plain = [_timed(lambda: _plain(agency)) for _ in range(ROUNDS)]
    ours_s, size = min(ours)
    plain_s, _size = min(plain)
    row = Row(
        name=f"take-along of {SIGNS:,} signs, {connection.vendor}",
        value=ours_s,
        unit="s",
        peer="its stored rows, values() alone, packed",
        peer_value=plain_s,
        ratio=ours_s / plain_s,
        target=f"≤ {AIM_S:g} s",
        holds=ours_s <= AIM_S,
        note=f"{size / 1e6:.2f} MB packed; one sign a support; best of {ROUNDS}",
    )
    return [row]


def _agency(now: datetime) -> Organisation:
    """Return an agency whose signs stand apart, each read twice and judged."""
    dice = random.Random(SEED)  # noqa: S311 - invented places, not a secret
    agency = make_fleet("Bench take-along", KINDS, dice, signs=SIGNS, visits=2, now=now)
    supports = list(Support.objects.owned_by(agency))
    for each in supports:
        each.latitude_deg = dice.uniform(BOX.south_deg, BOX.north_deg)
        each.longitude_deg = dice.uniform(BOX.west_deg, BOX.east_deg)
        each.cell = cell_of(each.latitude_deg, each.longitude_deg)
    Support.objects.bulk_update(supports, ["latitude_deg", "longitude_deg", "cell"], 500)
    assess_signs(organisation=agency, now=now)
    mark_due(organisation=agency, now=now)
    return agency


def _ours(agency: Organisation, now: datetime) -> int:
    page, pages, size, signs = 0, 1, 0, 0
    while page < pages:
        asked = supports_in_box(organisation=agency, box=BOX, page=page + 1)
        answer = carry_page(organisation=agency, asked=asked, now=now)
        page, pages = asked.page, asked.pages
        signs += len(answer["signs"])
        size += _packed(answer)
    _check(signs)
    return size


def _plain(agency: Organisation) -> int:
    page, pages, size, signs = 0, 1, 0, 0
    while page < pages:
        asked = supports_in_box(organisation=agency, box=BOX, page=page + 1)
        page, pages = asked.page, asked.pages
        positions = Position.objects.filter(support__in=asked.ids)
        places = list(positions.order_by("pk").values())
        keys = [row["id"] for row in places]
        faces = list(
            Sign.objects.filter(position__in=keys, state="installed").order_by("pk").values()
        )
        ids = [row["id"] for row in faces]
        signs += len(ids)
        visits = list(Inspection.objects.filter(sign__in=ids).order_by("pk").values())
        visit_ids = [row["id"] for row in visits]
        sets = list(ReadingSet.objects.filter(inspection__in=visit_ids).order_by("pk").values())
        rows = [
            list(Support.objects.filter(pk__in=asked.ids).order_by("pk").values()),
            places,
            faces,
            visits,
            sets,
            *(
                list(chosen.order_by("pk").values())
                for chosen in (
                    ColourArea.objects.filter(sign__in=ids),
                    Standing.objects.filter(sign__in=ids),
                    Reading.objects.filter(reading_set__in=[row["id"] for row in sets]),
                    ElementAssessment.objects.filter(assessment__sign__in=ids),
                    Observation.objects.filter(inspection__in=visit_ids),
                    Photo.objects.filter(sign__in=ids),
                )
            ),
        ]
        size += _packed(rows)
    _check(signs)
    return size


def _check(signs: int) -> None:
    """Stop if not every sign was read: a figure of something else is no figure."""
    if signs != SIGNS:
        msg = f"{signs} signs were taken along, not {SIGNS}."
        raise RuntimeError(msg)


def _packed(answer: Any) -> int:
    """Return how long an answer is, packed as the pages of it are sent."""
    return len(gzip.compress(orjson.dumps(answer, default=str), compresslevel=6))


def _timed(work: Callable[[], int]) -> tuple[float, int]:
    started = time.perf_counter()
    size = work()
    return time.perf_counter() - started, size
